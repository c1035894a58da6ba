#include "colour/adaptation.hpp"

#include <algorithm>

namespace bindhue {
namespace {

constexpr Matrix3 bradford{{0.8951, 0.2664, -0.1614, -0.7502, 1.7135, 0.0367, 0.0389, -0.0685, 1.0296}};
constexpr Matrix3 cat16{
    {0.401288, 0.650173, -0.051461, -0.250268, 1.204414, 0.045854, -0.002079, 0.048952, 0.953127}};
constexpr Matrix3 bradford_inverse = inverse(bradford), cat16_inverse = inverse(cat16);

// A NaN must not reach a screen as one: it is drawn black.
double clip(double v) { return v > 0 ? std::min(v, 1.0) : 0.0; }

}  // namespace

Matrix3 adaptation_matrix(const Vector3& source_white, const Vector3& destination_white, Adaptation method) {
    const bool is_bradford = method == Adaptation::bradford;
    const Matrix3& to_cones = is_bradford ? bradford : cat16;
    const Vector3 from = to_cones * source_white, to = to_cones * destination_white;
    const Matrix3 gain = Matrix3::diagonal({to[0] / from[0], to[1] / from[1], to[2] / from[2]});
    return (is_bradford ? bradford_inverse : cat16_inverse) * gain * to_cones;
}

EncodedSrgb to_display(const Lab<D50>& c) {
    const LinearSrgb rgb = to_linear_srgb(adapt<D65>(to_xyz(c)));
    return to_encoded(LinearSrgb{clip(rgb.r), clip(rgb.g), clip(rgb.b)});
}

}  // namespace bindhue

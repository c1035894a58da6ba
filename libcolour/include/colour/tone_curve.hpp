// The tone curve of a photo: from the numbers in the file to linear light.
//
// Source of the interpolation: Fritsch, Butland, "A method for constructing local monotone piecewise cubic
// interpolants", SIAM J. Sci. Stat. Comput. 5 (1984) 300-304: monotone whenever the knots are.
#pragma once

#include <array>
#include <cstddef>

#include "colour/matrix.hpp"

namespace bindhue {

// One curve for each channel, on 0..1. Outside 0..1 it goes on straight, so that noise around black averages
// to the right value. A value that is not a number stays one.
class ToneCurve {
  public:
    ToneCurve();  // identity: the values are linear already

    static ToneCurve srgb();  // IEC 61966-2-1, within 5e-5 everywhere

    Vector3 to_linear(const Vector3& encoded) const;
    // Inverse of to_linear to 1e-9 where the curve rises; on a flat stretch, some value of that stretch.
    Vector3 to_encoded(const Vector3& linear) const;
    Vector3 slope(const Vector3& encoded) const;  // d linear / d encoded

    static constexpr std::size_t knots = 33;            // evenly over the encoded scale
    std::array<std::array<double, knots>, 3> linear{};  // must not fall from one knot to the next
};

}  // namespace bindhue

#include "colour/spaces.hpp"

namespace bindhue {
namespace {

double decode(double v) {
    const double m = std::abs(v);
    return std::copysign(m <= 0.04045 ? m / 12.92 : std::pow((m + 0.055) / 1.055, 2.4), v);
}

double encode(double v) {
    const double m = std::abs(v);
    return std::copysign(m <= 0.0031308 ? 12.92 * m : 1.055 * std::pow(m, 1.0 / 2.4) - 0.055, v);
}

// From the primaries' chromaticities and this library's D65, so that R = G = B is exactly neutral; the matrix
// printed in IEC 61966-2-1 is this one rounded, with a white of 0.9505, 1, 1.0890.
constexpr Matrix3 matrix_of_primaries() {
    constexpr double rx = 0.64, ry = 0.33, gx = 0.30, gy = 0.60, bx = 0.15, by = 0.06;
    constexpr Matrix3 chromaticities{{rx, gx, bx, ry, gy, by, 1 - rx - ry, 1 - gx - gy, 1 - bx - by}};
    constexpr Vector3 scale = inverse(chromaticities) * Vector3{D65::X, D65::Y, D65::Z};
    return chromaticities * Matrix3::diagonal(scale);
}
constexpr Matrix3 srgb_to_xyz = matrix_of_primaries();
constexpr Matrix3 xyz_to_srgb = inverse(srgb_to_xyz);

}  // namespace

LinearSrgb to_linear(const EncodedSrgb& c) { return {decode(c.r), decode(c.g), decode(c.b)}; }

EncodedSrgb to_encoded(const LinearSrgb& c) { return {encode(c.r), encode(c.g), encode(c.b)}; }

XYZ<D65> to_xyz(const LinearSrgb& c) { return XYZ<D65>::from(srgb_to_xyz * Vector3{c.r, c.g, c.b}); }

LinearSrgb to_linear_srgb(const XYZ<D65>& c) {
    const Vector3 v = xyz_to_srgb * c.vector();
    return {v[0], v[1], v[2]};
}

}  // namespace bindhue

// CIE XYZ, CIELAB, CIELCh, camera RGB and sRGB, each a type of its own.
//
// The white point is part of the type: Lab<D50> and Lab<D65> are different colour spaces and do not mix.
// Everything is for the CIE 1931 2-degree observer. Tristimulus values are scaled so that the perfect
// reflecting diffuser has Y = 1. Bindhue's readings are Lab<D50>, diffuse reflectance, specular excluded.
//
// Sources: CIE 15:2004 / ISO/CIE 11664-4 (CIELAB, with the exact constants 216/24389 and 24389/27); IEC
// 61966-2-1 (sRGB).
#pragma once

#include <cmath>

#include "colour/matrix.hpp"

namespace bindhue {

// White points as CIE 15 prints them for the 2-degree observer, divided by 100. The profile connection space
// of the ICC has Z = 0.8249 for D50: 0.02 in b.
struct D50 {
    static constexpr double X = 0.9642, Y = 1.0, Z = 0.8251;
    static constexpr const char* name = "D50";
};
struct D65 {
    static constexpr double X = 0.9504, Y = 1.0, Z = 1.0888;
    static constexpr const char* name = "D65";
};
struct IlluminantA {
    static constexpr double X = 1.0985, Y = 1.0, Z = 0.3558;
    static constexpr const char* name = "A";
};

template <class White>
struct XYZ {
    double X = 0, Y = 0, Z = 0;

    static constexpr XYZ white() { return {White::X, White::Y, White::Z}; }
    constexpr Vector3 vector() const { return {X, Y, Z}; }
    static constexpr XYZ from(const Vector3& v) { return {v[0], v[1], v[2]}; }
};

// L in 0..100 for surfaces, a and b roughly -128..128; hue in degrees, 0 <= h < 360.
template <class White>
struct Lab {
    double L = 0, a = 0, b = 0;

    constexpr Vector3 vector() const { return {L, a, b}; }
    static constexpr Lab from(const Vector3& v) { return {v[0], v[1], v[2]}; }
};

template <class White>
struct LCh {
    double L = 0, C = 0, h = 0;
};

// Linear camera response, 1 = full scale of the file. Not a colour until a camera fit has made it one.
struct CameraRgb {
    double r = 0, g = 0, b = 0;

    constexpr Vector3 vector() const { return {r, g, b}; }
    static constexpr CameraRgb from(const Vector3& v) { return {v[0], v[1], v[2]}; }
};
// Camera response as a file stores it, 0..1, through an unknown tone curve.
struct EncodedCameraRgb {
    double r = 0, g = 0, b = 0;
};

// IEC 61966-2-1 primaries, D65 white, 0..1 inside the gamut.
struct LinearSrgb {
    double r = 0, g = 0, b = 0;
};
struct EncodedSrgb {
    double r = 0, g = 0, b = 0;
};

namespace detail {
inline constexpr double lab_epsilon = 216.0 / 24389.0;
inline constexpr double lab_kappa = 24389.0 / 27.0;
inline double lab_f(double t) { return t > lab_epsilon ? std::cbrt(t) : (lab_kappa * t + 16.0) / 116.0; }
inline double lab_f_inverse(double f) {
    return f * f * f > lab_epsilon ? f * f * f : (116.0 * f - 16.0) / lab_kappa;
}
}  // namespace detail

// Defined for all finite values, negative tristimulus values included (the linear part goes on), so that an
// out-of-gamut estimate stays comparable instead of turning into a NaN. Round trip better than 1e-12.
template <class White>
Lab<White> to_lab(const XYZ<White>& c) {
    const double fx = detail::lab_f(c.X / White::X), fy = detail::lab_f(c.Y / White::Y),
                 fz = detail::lab_f(c.Z / White::Z);
    return {116.0 * fy - 16.0, 500.0 * (fx - fy), 200.0 * (fy - fz)};
}

template <class White>
XYZ<White> to_xyz(const Lab<White>& c) {
    const double fy = (c.L + 16.0) / 116.0, fx = fy + c.a / 500.0, fz = fy - c.b / 200.0;
    return {White::X * detail::lab_f_inverse(fx), White::Y * detail::lab_f_inverse(fy),
            White::Z * detail::lab_f_inverse(fz)};
}

// d(L, a, b) / d(X, Y, Z) at c.
template <class White>
Matrix3 lab_jacobian(const XYZ<White>& c) {
    const auto slope = [](double t) {
        return t > detail::lab_epsilon ? 1.0 / (3.0 * std::cbrt(t) * std::cbrt(t))
                                       : detail::lab_kappa / 116.0;
    };
    const double sx = slope(c.X / White::X) / White::X, sy = slope(c.Y / White::Y) / White::Y,
                 sz = slope(c.Z / White::Z) / White::Z;
    return {{0, 116 * sy, 0, 500 * sx, -500 * sy, 0, 0, 200 * sy, -200 * sz}};
}

template <class White>
LCh<White> to_lch(const Lab<White>& c) {
    double h = std::atan2(c.b, c.a) * 57.295779513082320877;
    if (h < 0) h += 360.0;
    if (h >= 360.0) h = 0.0;
    return {c.L, std::hypot(c.a, c.b), h};
}

template <class White>
Lab<White> to_lab(const LCh<White>& c) {
    const double h = c.h / 57.295779513082320877;
    return {c.L, c.C * std::cos(h), c.C * std::sin(h)};
}

// IEC 61966-2-1; odd extension for negative values. The matrix is derived from the primaries and D65 above,
// so that R = G = B is exactly neutral; it is within 3e-4 of the printed one. Encoding and decoding round
// trip to 1e-7 (the printed constants leave a gap of that size where the branches meet).
LinearSrgb to_linear(const EncodedSrgb& c);
EncodedSrgb to_encoded(const LinearSrgb& c);
XYZ<D65> to_xyz(const LinearSrgb& c);
LinearSrgb to_linear_srgb(const XYZ<D65>& c);

}  // namespace bindhue

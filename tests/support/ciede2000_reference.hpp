// CIEDE2000 in long double, written from the equations of Sharma, Wu and Dalal (2005) with angles in degrees,
// and sharing nothing with the library: what the library's functions are held against.
//
// The two places where the formula itself jumps are decided exactly, so that rounding of an angle cannot:
// whether two hues are more than 180 degrees apart is the sign of sin(h2 - h1), and whether they sum to 360
// degrees or more that of sin(h1 + h2), each an exact sum of two products.
#pragma once

#include <array>
#include <cmath>

namespace reference {

using Real = long double;

inline int sign_of_sum_of_products(double x1, double y1, double x2, double y2) {
    const Real p = static_cast<Real>(x1) * y1, q = static_cast<Real>(x2) * y2;
    const Real p_rest = std::fma(static_cast<Real>(x1), static_cast<Real>(y1), -p);
    const Real q_rest = std::fma(static_cast<Real>(x2), static_cast<Real>(y2), -q);
    const Real sum = (p + q) + (p_rest + q_rest);
    return (sum > 0) - (sum < 0);
}

inline Real ciede2000(const std::array<double, 3>& lab1, const std::array<double, 3>& lab2, Real kL = 1,
                      Real kC = 1, Real kH = 1) {
    const Real pi = std::acos(Real(-1)), degree = pi / 180, twenty_five_7 = std::pow(Real(25), 7);
    const Real L1 = lab1[0], a1 = lab1[1], b1 = lab1[2], L2 = lab2[0], a2 = lab2[1], b2 = lab2[2];

    const Real mean_C7 = std::pow((std::hypot(a1, b1) + std::hypot(a2, b2)) / 2, 7);
    const Real G = (1 - std::sqrt(mean_C7 / (mean_C7 + twenty_five_7))) / 2;
    const Real a1p = (1 + G) * a1, a2p = (1 + G) * a2;
    const Real C1 = std::hypot(a1p, b1), C2 = std::hypot(a2p, b2);
    const auto hue = [&](Real a, Real b) {
        if (a == 0 && b == 0) return Real(0);
        const Real h = std::atan2(b, a) / degree;
        return h < 0 ? h + 360 : h;
    };
    const Real h1 = hue(a1p, b1), h2 = hue(a2p, b2);

    // |h2 - h1| > 180: the sine of the difference has the sign opposite to the difference.
    const int sine = sign_of_sum_of_products(lab1[1], lab2[2], -lab2[1], lab1[2]);
    const bool over_180 = (h2 > h1 && sine < 0) || (h2 < h1 && sine > 0);
    const bool sum_over_360 =
        h1 + h2 > 180 && sign_of_sum_of_products(lab1[1], lab2[2], lab2[1], lab1[2]) >= 0;

    Real dh = 0, mean_h = h1 + h2;
    if (C1 * C2 != 0) {
        dh = h2 - h1;
        if (over_180) dh += h2 > h1 ? -360 : 360;
        // For |h2 - h1| > 180 the sum lies between 180 and 540 degrees.
        mean_h = !over_180 ? (h1 + h2) / 2 : sum_over_360 ? (h1 + h2 - 360) / 2 : (h1 + h2 + 360) / 2;
    }
    if (mean_h < 0) mean_h = 0;  // -0 by rounding of h1 + h2 - 360

    const Real dL = L2 - L1, dC = C2 - C1, dH = 2 * std::sqrt(C1 * C2) * std::sin(dh / 2 * degree);
    const Real mean_L = (L1 + L2) / 2, mean_C = (C1 + C2) / 2;
    const auto cosine = [&](Real angle) { return std::cos(angle * degree); };
    const Real T = 1 - Real(0.17L) * cosine(mean_h - 30) + Real(0.24L) * cosine(2 * mean_h) +
                   Real(0.32L) * cosine(3 * mean_h + 6) - Real(0.20L) * cosine(4 * mean_h - 63);
    const Real theta = 30 * std::exp(-std::pow((mean_h - 275) / 25, 2));
    const Real mean_Cp7 = std::pow(mean_C, 7);
    const Real RC = 2 * std::sqrt(mean_Cp7 / (mean_Cp7 + twenty_five_7));
    const Real d50 = (mean_L - 50) * (mean_L - 50);
    const Real SL = 1 + Real(0.015L) * d50 / std::sqrt(20 + d50);
    const Real SC = 1 + Real(0.045L) * mean_C, SH = 1 + Real(0.015L) * mean_C * T;
    const Real RT = -std::sin(2 * theta * degree) * RC;
    const Real l = dL / (kL * SL), c = dC / (kC * SC), h = dH / (kH * SH);
    return std::sqrt(l * l + c * c + h * h + RT * c * h);
}

}  // namespace reference

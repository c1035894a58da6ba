#include "colour/layer.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace bindhue {
namespace {

constexpr double light_angle = std::numbers::pi / 4;  // 45:0

// g coth g for g >= 0, from exp(-2g) - 1, which keeps its digits where g is small.
double g_coth_g(double g) {
    if (g < 1e-4) return 1.0 + g * g / 3.0;
    const double e = std::expm1(-2.0 * g);
    return -g * (2.0 + e) / e;
}

}  // namespace

// Kubelka's solution multiplied through by S X, so that neither S X = 0 nor K X = 0 divides by zero:
// with g = b S X = sqrt(KX (KX + 2 SX)) and c = g coth g.
double TwoFluxLayer::reflectance_over(double ground) const {
    const double c = g_coth_g(std::sqrt(KX * (KX + 2.0 * SX)));
    const double sum = SX + KX;
    return std::clamp((SX - ground * (sum - c)) / (sum - ground * SX + c), 0.0, 1.0);
}

double TwoFluxLayer::transmittance() const {
    const double g = std::sqrt(KX * (KX + 2.0 * SX));
    if (g < 1e-6) return 1.0 / (1.0 + SX + KX);
    const double e = std::exp(-2.0 * g);
    return 2.0 * g * std::exp(-g) / ((SX + KX) * (1.0 - e) + g * (1.0 + e));
}

double k_over_s(double infinite_reflectance) {
    return (1.0 - infinite_reflectance) * (1.0 - infinite_reflectance) / (2.0 * infinite_reflectance);
}

double infinite_reflectance(double k_over_s) {
    // 1 / (a + b) instead of a - b: no cancellation for deep colours.
    return 1.0 / (1.0 + k_over_s + std::sqrt(k_over_s * (k_over_s + 2.0)));
}

Result<TwoFluxLayer> layer_over_two_grounds(double over_dark, double dark, double over_light, double light) {
    for (const double r : {over_dark, dark, over_light, light})
        if (!(r >= 0 && r <= 1)) return Error{Reason::bad_value, "A reflectance is outside 0..1.", "", "Read it again."};
    if (light - dark < 0.05) return Error{Reason::bad_value, "The two grounds are too alike.", "", "Use a black and a white ground."};
    const double fault = (over_dark - dark) * (over_light + light) - (over_light - light) * (over_dark + dark);
    const double first = 1 + over_dark * dark, second = 1 + over_light * light;
    const double c = (first * (over_light + light) - second * (over_dark + dark)) / fault,
                 a = ((over_dark - dark) * second - (over_light - light) * first) / fault;
    const double b = std::sqrt(std::max(0.0, a * a - 1));
    constexpr double rounding = 1e-9;  // a layer that absorbs nothing has a = 1
    if (!(a >= 1 - rounding && c > b && std::isfinite(c)))
        return Error{Reason::cannot_measure, "No layer that scatters and absorbs looks so over these grounds.", "",
                     "Read thread and grounds in one photo; a layer that hides all tells nothing more."};
    const double SX = b > 1e-4 ? std::atanh(b / c) / b : 1 / c;
    return TwoFluxLayer{std::max(0.0, a - 1) * SX, SX};
}

double contrast_ratio(double over_black, double over_white) { return over_black / over_white; }

double fresnel_reflectance(double n, double angle) {
    if (n == 1.0) return 0.0;  // no surface: at grazing incidence the equations would divide zero by zero
    const double cosine = std::cos(angle), sine = std::sin(angle);
    const double inner = std::sqrt(n * n - sine * sine);
    const double across = (cosine - inner) / (cosine + inner);
    const double along = (n * n * cosine - inner) / (n * n * cosine + inner);
    return 0.5 * (across * across + along * along);
}

double fresnel_diffuse_external(double n) {
    if (n == 1.0) return 0.0;
    const double n2 = n * n, n4 = n2 * n2;
    const double first = 0.5 + (n - 1) * (3 * n + 1) / (6 * (n + 1) * (n + 1));
    const double second =
        n2 * (n2 - 1) * (n2 - 1) / ((n2 + 1) * (n2 + 1) * (n2 + 1)) * std::log((n - 1) / (n + 1));
    const double third = 2 * n2 * n * (n2 + 2 * n - 1) / ((n2 + 1) * (n4 - 1));
    const double fourth = 8 * n4 * (n4 + 1) / ((n2 + 1) * (n4 - 1) * (n4 - 1)) * std::log(n);
    return first + second - third + fourth;
}

// Radiance over n^2 is the same on both sides of a surface: n^2 (1 - internal) = 1 - external.
double fresnel_diffuse_internal(double n) { return 1.0 - (1.0 - fresnel_diffuse_external(n)) / (n * n); }

double saunderson_outside(double inside, double k1, double k2) {
    return (1.0 - k1) * (1.0 - k2) * inside / (1.0 - k2 * inside);
}

double saunderson_inside(double outside, double k1, double k2) {
    return outside / ((1.0 - k1) * (1.0 - k2) + k2 * outside);
}

Film::Film(double n)
    : gain((1.0 - fresnel_reflectance(n, light_angle)) * (1.0 - fresnel_reflectance(n, 0.0)) / (n * n)),
      returned(fresnel_diffuse_internal(n)) {}

TintedFilm::TintedFilm(double n) : clear_(n) {
    const double critical = std::sqrt(1.0 - 1.0 / (n * n));  // cosine
    in_and_out_ = 1.0 + 1.0 / std::sqrt(1.0 - 0.5 / (n * n));
    // Simpson's rule over the cosine u: 2 r u du. Above the critical angle u = critical + (1 - critical) s^2, for r starts there like a root.
    std::size_t next = 0;
    for (int i = 0; i <= steps; ++i) {
        const double s = static_cast<double>(i) / steps, simpson = (i == 0 || i == steps ? 1.0 : i % 2 == 1 ? 4.0 : 2.0) / (3.0 * steps);
        const double grazing = std::max(critical * s, 1e-9);
        ways_[next++] = {2.0 / grazing, simpson * critical * 2.0 * grazing};
        const double u = critical + (1.0 - critical) * s * s, outer = std::sqrt(std::max(0.0, 1.0 - n * n * (1.0 - u * u)));
        const double across = (n * u - outer) / (n * u + outer), along = (u - n * outer) / (u + n * outer);
        ways_[next++] = {2.0 / u, simpson * (1.0 - critical) * 2.0 * s * 2.0 * u * 0.5 * (across * across + along * along)};
    }
}

Film TintedFilm::at(double depth) const {
    Film out = clear_;
    if (depth <= 0) return out;
    out.gain *= std::exp(-depth * in_and_out_);
    out.returned = 0;
    for (const Way& way : ways_) out.returned += way.weight * std::exp(-depth * way.length);
    return out;
}

double wetted_absorption(double dry_absorption, double liquid_index) {
    const double entered = 1.0 - fresnel_reflectance(liquid_index, light_angle);
    const double returned = fresnel_diffuse_internal(liquid_index);
    return entered * dry_absorption / (1.0 - returned * (1.0 - dry_absorption));
}

}  // namespace bindhue

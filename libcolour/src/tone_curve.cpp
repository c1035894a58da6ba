#include "colour/tone_curve.hpp"

#include <algorithm>
#include <cmath>

namespace bindhue {
namespace {

constexpr std::size_t last = ToneCurve::knots - 1;
constexpr double intervals = static_cast<double>(last);
using Knots = std::array<double, ToneCurve::knots>;

// Rise per interval at a knot: the harmonic mean of the two neighbouring rises keeps the cubic monotone.
double rise_at(const Knots& y, std::size_t i) {
    const auto limited_end = [](double near, double far) {
        const double rise = (3 * near - far) / 2;
        return near <= 0 ? 0.0 : std::clamp(rise, 0.0, 3 * near);
    };
    if (i == 0) return limited_end(y[1] - y[0], y[2] - y[1]);
    if (i == last) return limited_end(y[last] - y[last - 1], y[last - 1] - y[last - 2]);
    const double before = y[i] - y[i - 1], after = y[i + 1] - y[i];
    return before > 0 && after > 0 ? 2 * before * after / (before + after) : 0.0;
}

struct Cubic {  // over one interval, s from 0 to 1
    double c0, c1, c2, c3;
    double value(double s) const { return c0 + s * (c1 + s * (c2 + s * c3)); }
    double rise(double s) const { return c1 + s * (2 * c2 + s * 3 * c3); }
};

Cubic cubic_over(const Knots& y, std::size_t i) {
    const double step = y[i + 1] - y[i], from = rise_at(y, i), to = rise_at(y, i + 1);
    return {y[i], from, 3 * step - 2 * from - to, from + to - 2 * step};
}

struct Position {
    std::size_t interval;
    double s;  // below 0 or above 1 outside the scale
};

Position locate(double encoded) {
    const double x = encoded * intervals;
    const auto i = static_cast<std::size_t>(std::clamp(std::floor(x), 0.0, intervals - 1));
    return {i, x - static_cast<double>(i)};
}

double evaluate(const Knots& y, double encoded) {
    if (!std::isfinite(encoded)) return encoded;
    const auto [i, s] = locate(encoded);
    if (s < 0) return y[0] + s * rise_at(y, 0);
    if (s > 1) return y[last] + (s - 1) * rise_at(y, last);
    return cubic_over(y, i).value(s);
}

double slope_of(const Knots& y, double encoded) {
    if (!std::isfinite(encoded)) return encoded;
    const auto [i, s] = locate(encoded);
    return intervals * cubic_over(y, i).rise(std::clamp(s, 0.0, 1.0));
}

double invert(const Knots& y, double linear) {
    if (!std::isfinite(linear)) return linear;
    if (linear <= y[0]) {
        const double rise = rise_at(y, 0);
        return rise > 0 ? (linear - y[0]) / rise / intervals : 0.0;
    }
    if (linear >= y[last]) {
        const double rise = rise_at(y, last);
        return rise > 0 ? 1.0 + (linear - y[last]) / rise / intervals : 1.0;
    }
    const auto above = static_cast<std::size_t>(std::upper_bound(y.begin(), y.end(), linear) - y.begin());
    const std::size_t i = std::clamp<std::size_t>(above, 1, last) - 1;
    const Cubic cubic = cubic_over(y, i);
    double low = 0, high = 1, s = 0.5;
    for (int step = 0; step < 60 && high - low > 1e-13; ++step) {
        const double error = cubic.value(s) - linear;
        if (std::abs(error) < 1e-15) break;
        (error > 0 ? high : low) = s;
        const double rise = cubic.rise(s), newton = s - error / rise;
        s = rise > 0 && newton > low && newton < high ? newton : 0.5 * (low + high);
    }
    return (static_cast<double>(i) + s) / intervals;
}

template <class Function>
Vector3 per_channel(const ToneCurve& curve, const Vector3& v, Function function) {
    return {function(curve.linear[0], v[0]), function(curve.linear[1], v[1]),
            function(curve.linear[2], v[2])};
}

}  // namespace

ToneCurve::ToneCurve() {
    for (auto& channel : linear)
        for (std::size_t i = 0; i < knots; ++i) channel[i] = static_cast<double>(i) / intervals;
}

ToneCurve ToneCurve::srgb() {
    ToneCurve curve;
    for (auto& channel : curve.linear)
        for (double& v : channel) v = v <= 0.04045 ? v / 12.92 : std::pow((v + 0.055) / 1.055, 2.4);
    return curve;
}

Vector3 ToneCurve::to_linear(const Vector3& encoded) const { return per_channel(*this, encoded, evaluate); }
Vector3 ToneCurve::to_encoded(const Vector3& value) const { return per_channel(*this, value, invert); }
Vector3 ToneCurve::slope(const Vector3& encoded) const { return per_channel(*this, encoded, slope_of); }

}  // namespace bindhue

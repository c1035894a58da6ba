#include "colour/tone_curve.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>

#include "colour/spaces.hpp"

using namespace bindhue;

TEST_CASE("A new tone curve leaves values as they are, inside and outside the scale") {
    const ToneCurve identity;
    for (const double v : {-0.2, 0.0, 0.013, 0.5, 0.997, 1.0, 1.7}) {
        const Vector3 out = identity.to_linear({v, v, v});
        for (const double o : out) CHECK(o == Approx(v).margin(1e-15));
        CHECK(identity.slope({v, v, v})[1] == Approx(1.0));
    }
}

TEST_CASE("The sRGB tone curve is within 5e-5 of IEC 61966-2-1") {
    const ToneCurve curve = ToneCurve::srgb();
    double worst = 0;
    for (int i = 0; i <= 10000; ++i) {
        const double v = i / 10000.0;
        worst = std::max(worst, std::abs(curve.to_linear({v, v, v})[0] - to_linear(EncodedSrgb{v, v, v}).r));
    }
    CHECK(worst < 5e-5);
    CHECK(worst > 0);
}

TEST_CASE("A tone curve goes back and forth to 1e-9, outside the scale too") {
    ToneCurve curve = ToneCurve::srgb();
    for (std::size_t i = 0; i < ToneCurve::knots; ++i) {  // a curve of another kind in one channel
        const double v = static_cast<double>(i) / 32;
        curve.linear[2][i] = v * v * v * (v * (6 * v - 15) + 10) * 0.9 + 0.1 * v;
    }
    for (int i = -100; i <= 1100; ++i) {
        const double v = i / 1000.0;
        const Vector3 back = curve.to_encoded(curve.to_linear({v, v, v}));
        for (const double b : back) CHECK(b == Approx(v).margin(1e-9));
    }
}

TEST_CASE("A tone curve rises wherever its knots do, and its slope is that of its values") {
    ToneCurve curve;
    // Uneven steps, which make an ordinary cubic spline overshoot.
    double sum = 0;
    for (std::size_t i = 0; i < ToneCurve::knots; ++i) {
        curve.linear[0][i] = sum;
        sum += i % 7 == 3 ? 0.2 : 1e-4;
    }
    double before = -1;
    for (int i = 0; i <= 5000; ++i) {
        const double v = i / 5000.0, value = curve.to_linear({v, 0, 0})[0];
        CHECK(value > before);
        before = value;
        if (i % 50 == 7) {
            const double h = 1e-6,
                         numeric = (curve.to_linear({v + h, 0, 0})[0] - curve.to_linear({v - h, 0, 0})[0]) /
                                   (2 * h);
            CHECK(curve.slope({v, 0, 0})[0] == Approx(numeric).epsilon(1e-3).margin(1e-6));
        }
    }
}

TEST_CASE("A tone curve passes on what is not a number, and survives knots that are not") {
    constexpr double nan = std::numeric_limits<double>::quiet_NaN(),
                     infinity = std::numeric_limits<double>::infinity();
    ToneCurve curve = ToneCurve::srgb();
    CHECK(std::isnan(curve.to_linear({nan, 0, 0})[0]));
    CHECK(std::isinf(curve.to_linear({infinity, 0, 0})[0]));
    CHECK(std::isnan(curve.to_encoded({nan, 0, 0})[0]));
    CHECK(std::isnan(curve.slope({nan, 0, 0})[0]));
    CHECK(std::isfinite(curve.to_linear({1e300, 0, 0})[0]));

    curve.linear[0].fill(0.5);  // flat
    CHECK(curve.to_linear({0.3, 0, 0})[0] == 0.5);
    CHECK(curve.to_encoded({0.2, 0, 0})[0] == 0.0);
    CHECK(curve.to_encoded({0.7, 0, 0})[0] == 1.0);
    curve.linear[0].fill(nan);
    for (const double v : {-1.0, 0.0, 0.4, 1.0, 2.0}) {
        CHECK_FALSE(std::isfinite(curve.to_linear({v, 0, 0})[0]));
        (void)curve.to_encoded({v, 0, 0});  // any value, but no undefined behaviour (sanitize build)
    }
}

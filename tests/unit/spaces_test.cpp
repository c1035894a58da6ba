#include "colour/spaces.hpp"

#include <catch2/catch.hpp>
#include <random>

using namespace bindhue;

TEST_CASE("The white is L 100 and neutral, and black is 0") {
    const Lab<D50> white = to_lab(XYZ<D50>::white());
    CHECK(white.L == 100.0);
    CHECK(white.a == 0.0);
    CHECK(white.b == 0.0);
    const Lab<D65> black = to_lab(XYZ<D65>{});
    CHECK(black.L == Approx(0).margin(1e-14));
    CHECK(black.a == 0.0);
}

TEST_CASE("Lab and XYZ round trip to 1e-12, below black and above white too") {
    std::mt19937 random(1);
    std::uniform_real_distribution<double> L(-20, 130), ab(-150, 150), t(-0.1, 1.3);
    for (int i = 0; i < 20000; ++i) {
        const Lab<D50> c{L(random), ab(random), ab(random)}, back = to_lab(to_xyz(c));
        REQUIRE(back.L == Approx(c.L).margin(1e-12));
        REQUIRE(back.a == Approx(c.a).margin(1e-12));
        REQUIRE(back.b == Approx(c.b).margin(1e-12));
        const XYZ<D50> x{t(random), t(random), t(random)}, x_back = to_xyz(to_lab(x));
        REQUIRE(x_back.X == Approx(x.X).margin(1e-12));
        REQUIRE(x_back.Y == Approx(x.Y).margin(1e-12));
        REQUIRE(x_back.Z == Approx(x.Z).margin(1e-12));
    }
}

TEST_CASE("The two branches of CIELAB meet in value and in slope") {
    const double at = 216.0 / 24389.0;
    CHECK(detail::lab_f(at * (1 + 1e-12)) == Approx(detail::lab_f(at * (1 - 1e-12))).epsilon(1e-11));
    CHECK(to_lab(XYZ<D50>{D50::X * at, at, D50::Z * at}).L == Approx(8.0).epsilon(1e-12));
    const Matrix3 below = lab_jacobian(XYZ<D50>{0.5, at * (1 - 1e-9), 0.5}),
                  above = lab_jacobian(XYZ<D50>{0.5, at * (1 + 1e-9), 0.5});
    CHECK(below(0, 1) == Approx(above(0, 1)).epsilon(1e-8));
}

TEST_CASE("The Jacobian of CIELAB agrees with central differences") {
    std::mt19937 random(2);
    std::uniform_real_distribution<double> t(0.0, 1.0);
    for (int i = 0; i < 2000; ++i) {
        const Vector3 c{t(random), t(random), t(random)};
        const Matrix3 jacobian = lab_jacobian(XYZ<D50>::from(c));
        for (std::size_t k = 0; k < 3; ++k) {
            const double h = 1e-7;
            if (std::abs(c[k] - 0.0088) < 0.001) continue;  // the second derivative jumps there
            Vector3 up = c, down = c;
            up[k] += h, down[k] -= h;
            const Vector3 high = to_lab(XYZ<D50>::from(up)).vector(),
                          low = to_lab(XYZ<D50>::from(down)).vector();
            for (std::size_t r = 0; r < 3; ++r)
                REQUIRE(jacobian(r, k) == Approx((high[r] - low[r]) / (2 * h)).epsilon(1e-4).margin(1e-4));
        }
    }
}

TEST_CASE("Hue runs from 0 to under 360 degrees, anticlockwise from +a") {
    CHECK(to_lch(Lab<D50>{50, 10, 0}).h == 0.0);
    CHECK(to_lch(Lab<D50>{50, 0, 10}).h == Approx(90));
    CHECK(to_lch(Lab<D50>{50, -10, 0}).h == Approx(180));
    CHECK(to_lch(Lab<D50>{50, 0, -10}).h == Approx(270));
    CHECK(to_lch(Lab<D50>{50, 1, -1e-300}).h < 360.0);
    CHECK(to_lch(Lab<D50>{50, 0, 0}).h == 0.0);
    for (double h = 0; h < 360; h += 1) {
        const LCh<D50> back = to_lch(to_lab(LCh<D50>{50, 30, h}));
        CHECK(back.h == Approx(h).margin(1e-10));
        CHECK(back.C == Approx(30));
    }
}

TEST_CASE("sRGB round trips, is odd, and its white is D65") {
    for (int i = -300; i <= 300; ++i) {
        const double v = i / 255.0;
        CHECK(to_encoded(to_linear(EncodedSrgb{v, v, v})).g == Approx(v).margin(1e-7));
        CHECK(to_linear(EncodedSrgb{-v, 0, 0}).r == -to_linear(EncodedSrgb{v, 0, 0}).r);
        CHECK(to_encoded(LinearSrgb{0, 0, -v}).b == -to_encoded(LinearSrgb{0, 0, v}).b);
    }
    const XYZ<D65> white = to_xyz(LinearSrgb{1, 1, 1});
    CHECK(white.X == Approx(D65::X).epsilon(1e-14));
    CHECK(white.Y == Approx(1).epsilon(1e-14));
    CHECK(white.Z == Approx(D65::Z).epsilon(1e-14));
    const LinearSrgb back = to_linear_srgb(to_xyz(LinearSrgb{0.1, 0.7, -0.2}));
    CHECK(back.r == Approx(0.1));
    CHECK(back.g == Approx(0.7));
    CHECK(back.b == Approx(-0.2));
}

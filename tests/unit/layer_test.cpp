#include "colour/layer.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

using namespace bindhue;

namespace {

// Kubelka's differential equations, integrated from the ground up by small steps: R' = S - 2 (K + S) R + S
// R^2.
double integrated(const TwoFluxLayer& layer, double ground) {
    constexpr int steps = 20000;
    double r = ground;
    const auto slope = [&](double x) { return layer.SX - 2 * (layer.KX + layer.SX) * x + layer.SX * x * x; };
    for (int i = 0; i < steps; ++i) {
        const double half = r + 0.5 / steps * slope(r);
        r += slope(half) / steps;
    }
    return r;
}

}  // namespace

TEST_CASE("a two-flux layer agrees with its differential equation") {
    for (const double KX : {0.0, 1e-6, 0.01, 0.3, 4.0})
        for (const double SX : {0.0, 1e-6, 0.05, 1.0, 6.0})
            for (const double ground : {0.0, 0.2, 1.0}) {
                CAPTURE(KX, SX, ground);
                CHECK(TwoFluxLayer{KX, SX}.reflectance_over(ground) ==
                      Approx(integrated({KX, SX}, ground)).margin(1e-7));
            }
}

TEST_CASE("a layer that neither absorbs nor scatters is not there, and its limits are exact") {
    CHECK(TwoFluxLayer{}.reflectance_over(0.37) == Approx(0.37).margin(1e-15));
    CHECK(TwoFluxLayer{}.transmittance() == 1.0);
    CHECK(TwoFluxLayer{0.7, 0}.reflectance_over(0.5) == Approx(0.5 * std::exp(-1.4)).epsilon(1e-12));
    CHECK(TwoFluxLayer{0.7, 0}.transmittance() == Approx(std::exp(-0.7)).epsilon(1e-12));
    CHECK(TwoFluxLayer{0, 3}.reflectance_over(0) == Approx(0.75).epsilon(1e-12));
    CHECK(TwoFluxLayer{0, 3}.transmittance() == Approx(0.25).epsilon(1e-12));
    CHECK(TwoFluxLayer{0, 3}.reflectance_over(1) == Approx(1.0).epsilon(1e-12));
}

TEST_CASE("a thick layer hides its ground and shows its infinite reflectance") {
    for (const double r : {0.001, 0.02, 0.2, 0.6, 0.95}) {
        const double ratio = k_over_s(r);
        CHECK(infinite_reflectance(ratio) == Approx(r).epsilon(1e-12));
        const TwoFluxLayer thick{1e4 * ratio, 1e4};
        CHECK(thick.reflectance_over(0) == Approx(r).epsilon(1e-9));
        CHECK(thick.reflectance_over(1) == Approx(r).epsilon(1e-9));
    }
    CHECK(infinite_reflectance(0) == 1.0);
    const TwoFluxLayer extreme{1e6, 1e6};
    CHECK(extreme.reflectance_over(0.5) == Approx(infinite_reflectance(1)).epsilon(1e-9));
    CHECK(extreme.transmittance() == 0.0);
}

TEST_CASE("reflectance and transmittance never give out more light than came in") {
    for (double KX = 0; KX < 3; KX += 0.21)
        for (double SX = 0; SX < 9; SX += 0.37) {
            const TwoFluxLayer layer{KX, SX};
            const double total = layer.reflectance_over(0) + layer.transmittance();
            CAPTURE(KX, SX);
            CHECK(total <= 1 + 1e-12);
            if (KX == 0) CHECK(total == Approx(1).epsilon(1e-12));
        }
}

TEST_CASE("the diffuse Fresnel reflectance agrees with integration over the hemisphere") {
    for (const double n : {1.001, 1.01, 1.1, 1.333, 1.5, 1.55, 2.5, 4.0}) {
        constexpr int steps = 20000;
        double sum = 0;  // over t with cos = t^3, which crowds the steps where the reflectance is steep
        for (int i = 0; i < steps; ++i) {
            const double t = (i + 0.5) / steps, cosine = t * t * t;
            sum += fresnel_reflectance(n, std::acos(cosine)) * 2 * cosine * 3 * t * t / steps;
        }
        CAPTURE(n);
        CHECK(fresnel_diffuse_external(n) == Approx(sum).margin(1e-8));
    }
    CHECK(fresnel_diffuse_external(1) == 0.0);
    CHECK(fresnel_diffuse_internal(1) == 0.0);
    CHECK(fresnel_reflectance(1, 1.2) == 0.0);
    CHECK(fresnel_reflectance(1.5, std::numbers::pi / 2) == Approx(1.0));
}

TEST_CASE("surface corrections undo each other and leave black black") {
    for (const double r : {0.0, 0.01, 0.3, 0.9, 1.0}) {
        CHECK(saunderson_inside(saunderson_outside(r, 0.04, 0.6), 0.04, 0.6) == Approx(r).margin(1e-14));
        const Film film(1.53);
        CHECK(film.inside(film.outside(r)) == Approx(r).margin(1e-14));
    }
    CHECK(Film(1.53).outside(0) == 0.0);
    CHECK(Film(1.53).outside(1) == Approx(1).margin(0.01));
    CHECK(Film(1.0).outside(0.42) == Approx(0.42).epsilon(1e-12));
}

TEST_CASE("wetting darkens a mid tone most and neither black nor white") {
    CHECK(wetted_absorption(0, 1.5) == 0.0);
    CHECK(wetted_absorption(1, 1.5) == Approx(1 - fresnel_reflectance(1.5, std::numbers::pi / 4)));
    for (const double a : {0.2, 0.5, 0.8}) CHECK(wetted_absorption(a, 1.5) > a);
}

#include "colour/coated_blank.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "colour/coating.hpp"
#include "colour/layer.hpp"

using namespace bindhue;

namespace {

Reading read(const Lab<D50>& lab) { return {lab, Matrix3::diagonal({0.25, 0.25, 0.25}), {}}; }

}  // namespace

TEST_CASE("A smooth lacquered blank keeps its colour under the coat, a matte one deepens as Lekner and Dorf have it") {
    for (const double L : {20.0, 50.0, 80.0}) {
        const Surface grey = Surface::nearest({{L, 0, 0}, {}, {}});
        CHECK(coated_ground_look(grey, 0).L == Approx(L).margin(0.01));
        // Appl. Opt. 27 (1988) 1278, as tests/published/layer_test.cpp checks it: absorbed share a dry, (1 - R) a / (1 - p (1 - a)) wet; here light that is
        // not absorbed leaves as a reflectance factor seen square on.
        const double dry = to_xyz(Lab<D50>{L, 0, 0}).Y, wet = Film(1.53).outside(dry);
        CHECK(coated_ground_look(grey, 1).L == Approx(to_lab(XYZ<D50>{wet, wet, wet}).L).margin(0.3));
        CHECK(coated_ground_look(grey, 1).L < L - 5);
    }
    // It deepens: a matte tan goes darker, and more vivid for its lightness.
    const Surface tan = Surface::nearest({{62, 10, 28}, {}, {}});
    const Lab<D50> deep = coated_ground_look(tan, 1);
    CHECK(deep.L < 52);
    CHECK(std::hypot(deep.a, deep.b) / deep.L > 1.1 * std::hypot(10, 28) / 62);
}

TEST_CASE("The coated blank lies between, and its region reaches both") {
    for (const Lab<D50>& bare : {Lab<D50>{18, 0, 2}, {62, 10, 28}, {45, -10, 15}, {88, 0, 5}}) {
        const auto coated = coated_blank(read(bare));
        CAPTURE(bare.L);
        REQUIRE(coated);
        CHECK(coated->lab.L < bare.L);
        CHECK(coated->covariance(0, 0) > 0.25);
        REQUIRE(validate(*coated));
        const Surface surface = Surface::nearest(read(bare));
        CHECK(mahalanobis_squared(coated_ground_look(surface, 0), *coated) < 7.815);
        CHECK(mahalanobis_squared(coated_ground_look(surface, 0.7), *coated) < 7.815);
    }
    CHECK_FALSE(coated_blank(read({50, std::nan(""), 0})));
}

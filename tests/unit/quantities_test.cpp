#include "colour/quantities.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

using namespace bindhue;

// Worked by hand: geometry.
TEST_CASE("Thread for a wrap is the length of its helix") {
    CHECK(turns({30, 10, 0.15, 0.15}) == Approx(200));
    CHECK(wound_metres({30, 10, 0.15, 0.15}) == Approx(6.38).epsilon(1e-3));
    CHECK(turns({30, 10, 0.26, 0.26}) == Approx(115.4).epsilon(1e-3));
    CHECK(wound_metres({30, 10, 0.26, 0.26}) == Approx(3.72).epsilon(2e-3));
    CHECK(turns({30, 10, 0.11, 0.11}) == Approx(272.7).epsilon(1e-3));
    CHECK(wound_metres({30, 10, 0.11, 0.11}) == Approx(8.66).epsilon(1e-3));
    // One turn unrolled: a 3-4-5 triangle.
    CHECK(wound_metres({4, 3 / std::numbers::pi - 0.5, 4, 0.5}) == Approx(0.005));
}

TEST_CASE("What lies beneath makes a wrap take more") {
    // A second layer lies two thread diameters farther out, so does a wrap over a layer of the same thread.
    const double one = wound_metres({30, 10, 0.15, 0.15}), outer = wound_metres({30, 10.3, 0.15, 0.15});
    CHECK(wound_metres({30, 10, 0.15, 0.15, 0, 2}) == Approx(one + outer));
    CHECK(wound_metres({30, 10, 0.15, 0.15, 0.15}) == Approx(outer));
    CHECK(end_metres({30, 10, 0.15, 0.15, 0, 2}) == Approx(1.6));
}

TEST_CASE("Finish is the film's volume, but no batch is too small to measure") {
    // Geometry: pi 10.3 mm 30 mm 0.15 mm = 145.6 mm3.
    CHECK(film_ml({30, 10, 0.15, 0.15}, 0.15) == Approx(0.1456).epsilon(1e-3));
    CHECK(batch_ml(0.15) == 4);  // common practice
    CHECK(batch_ml(4) == 4);
    CHECK(batch_ml(4.2) == 5);
}

TEST_CASE("Weight and tex tell metres") {
    // An ounce is 28.35 g.
    CHECK(metres_by_weight(28.35, 21) == Approx(1350).epsilon(1e-3));
    CHECK(metres_by_weight(28.35, 45) == Approx(630).epsilon(1e-3));
    CHECK(metres_by_weight(28.35, 70) == Approx(405).epsilon(1e-3));
}

TEST_CASE("A wrap that cannot be is refused by its field") {
    const double nan = std::nan("");
    CHECK(validate(Winding{30, 10}).has_value());
    CHECK(validate(Winding{0, 10}).error().where == "width_mm");
    CHECK(validate(Winding{nan, 10}).error().where == "width_mm");
    CHECK(validate(Winding{30, -1}).error().where == "diameter_mm");
    CHECK(validate(Winding{30, 10, 0}).error().where == "pitch_mm");
    CHECK(validate(Winding{30, 10, 0.15, 3}).error().where == "thread_mm");
    CHECK(validate(Winding{30, 10, 0.15, 0.15, nan}).error().where == "underwrap_mm");
    CHECK(validate(Winding{30, 10, 0.15, 0.15, 0, 9}).error().where == "layers");
}

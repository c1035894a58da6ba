#include "wrap/rod.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "painted_rod.hpp"

using namespace bindhue;
using namespace bindhue::capture;

TEST_CASE("The rod's surface is a cone that touches the card's plane along its top line") {
    Rod rod;
    rod.opening_x_mm = 20;
    rod.axis_y_mm = 54;
    rod.axis_slope = 0.02;
    rod.radius_mm = 5;
    rod.radius_slope = -0.01;
    for (const double s : {0.0, 40.0, 110.0}) {
        const CardSpace top = rod.surface(s, 0);
        CHECK(top.z == Approx(0).margin(1e-12));
        CHECK(top.x == Approx(rod.top(s).x_mm));
        CHECK(top.y == Approx(rod.top(s).y_mm));
        // Every point round the rod is one radius from the axis, which lies one radius below the top.
        const double r = rod.radius_at(s);
        for (const double theta : {-1.5, -0.4, 0.3, 1.2}) {
            const CardSpace p = rod.surface(s, theta);
            CHECK(std::hypot(p.x - top.x, p.y - top.y, p.z + r) == Approx(r));
            CHECK((p.y > top.y) == (theta > 0));
        }
    }
    CHECK(rod.radius_at(100) == Approx(4));
}

TEST_CASE("The clean strip is a quarter of the diameter wide") {
    Rod rod;
    rod.radius_mm = 5;
    CardPose pose;
    pose.px_per_mm = 10;
    // 0.26 D for +-15 degrees on a cylinder: geometry.
    CHECK(rod.strip_px(0, pose) == Approx(0.2588 * 10 * 10).epsilon(1e-3));
}

TEST_CASE("A lens straight above the rod is faced by its top line, and one to the side by its side") {
    CardPose pose;
    pose.rotation = cv::Matx33d::eye();
    Rod rod;
    rod.axis_y_mm = 55;
    rod.radius_mm = 5;
    // Lens at (40, y, 300) of the card's space; OpenCV's frame has z away from the camera.
    const auto faced_from = [&](double y) {
        pose.translation = {-40, -y, 300};
        return rod.facing_camera(40, pose);
    };
    CHECK(faced_from(55) == Approx(0).margin(1e-12));
    CHECK(faced_from(55 + 305) == Approx(std::atan(1.0)));
    CHECK(faced_from(55 - 100) == Approx(-std::atan(100.0 / 305)));
}

namespace {

void finds_the_painted_rod(const painted_rod::Scene& scene) {
    const Result<Rod> rod = find_rod(painted_rod::opening_of(painted_rod::photo_of(scene)), painted_rod::from_above());
    REQUIRE(rod);
    CHECK(2 * rod->radius_at(60) == Approx(2 * painted_rod::blank_radius).epsilon(0.04));
    CHECK(rod->radius_slope == Approx(0).margin(0.003));
    for (const double s : {5.0, 115.0}) CHECK(rod->top(s).y_mm == Approx(painted_rod::axis_y).margin(0.2));
}

}  // namespace

TEST_CASE("A rod is found in the opening where it was painted") { finds_the_painted_rod({}); }

TEST_CASE("A rod is found whole though a streak parts its bands") {
    // A window 3 mm wide, much brighter than any body.
    finds_the_painted_rod({.mirrored = [](double off) { return std::abs(off - 0.1) < 0.36 ? 1.0 : 0.0; }});
}

TEST_CASE("A shadow's edge that runs away from the rod does not turn the rod's edge") {
    // Beside the blank the bench is as dark as the blank's own limb; along the wrap's edge and then along the shadow's runs a stronger line than the blank's.
    const double away = GENERATE(0.010, 0.014);
    finds_the_painted_rod({.wound = {{10, 35}},
                           .stands_out = 0.3,
                           .bench = [away](double s, double beyond_mm) { return beyond_mm > 0 && beyond_mm < away * (s - 10) ? 0.04 : 0.05; }});
}

TEST_CASE("A card without an opening holds no rod") {
    CardLayout layout = painted_rod::layout();
    layout.opening.reset();
    const auto opening = flatten_opening(painted_rod::photo_of({}), layout, painted_rod::from_above(), plain_fit());
    REQUIRE_FALSE(opening);
    CHECK(opening.error().reason == Reason::cannot_measure);
}

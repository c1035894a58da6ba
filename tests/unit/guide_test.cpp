#include <catch2/catch.hpp>

#include "plain_fit.hpp"
#include "wrap/guide.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

constexpr CameraRgb blank{0.1, 0.1, 0.1}, thread{0.4, 0.1, 0.1}, over_foot{0.42, 0.11, 0.11}, steel{0.3, 0.3, 0.3};

// Blank, wrap, frame, wrap, blank; the frame's ends are no steps all round the rod.
struct Wrapped {
    std::vector<Segment> segments{{0, 20}, {20, 40}, {40, 48}, {48, 68}, {68, 90}};
    std::vector<BodyColour> bodies{std::vector<BodyColour>(5)};
    std::vector<BandFeatures> features{{BandRole::blank, {}}, {BandRole::wrap, {}}, {BandRole::wrap, {}}, {BandRole::wrap, {}}, {BandRole::blank, {}}};

    Wrapped() {
        const std::vector<CameraRgb> colours{blank, thread, steel, thread, blank};
        for (std::size_t i = 0; i < bodies.size(); ++i) bodies[i].linear = colours[i];
        for (const std::size_t i : {2U, 3U}) part_of_the_way_round(i);
    }
    void part_of_the_way_round(std::size_t i) {
        bodies[i].step_misfit = 0.2;
        bodies[i].step_error = 0.03;
    }
};

}  // namespace

TEST_CASE("What covers part of a rod is told by ends that are not there all round it") {
    Wrapped rod;
    const auto frame = find_guide(rod.segments, rod.bodies);
    REQUIRE(frame);
    CHECK(frame->first == 2);
    CHECK(frame->end == 3);

    SECTION("one such end alone is an uneven coat's or a streak's") {
        rod.bodies[3].step_misfit = 0.01;
        CHECK_FALSE(find_guide(rod.segments, rod.bodies));
    }
    SECTION("bands that are much alike misfit too, by little light") {
        rod.bodies[2].step_error = rod.bodies[3].step_error = 0.002;
        CHECK_FALSE(find_guide(rod.segments, rod.bodies));
    }
    SECTION("no frame is as long as a wrap") {
        rod.segments = {{0, 20}, {20, 30}, {30, 48}, {48, 68}, {68, 90}};
        CHECK_FALSE(find_guide(rod.segments, rod.bodies));
    }
}

TEST_CASE("Wraps beside a guide are read away from its feet, and lie where they lie") {
    Wrapped rod;
    const std::vector<Segment> whole = leave_guide_out({2, 3}, rod.segments, rod.features, rod.bodies, plain_fit());
    REQUIRE(whole.size() == 4);
    REQUIRE(rod.segments.size() == 4);
    REQUIRE(rod.features.size() == 4);
    CHECK(whole[1].begin_mm == 20);
    CHECK(whole[1].end_mm == 40);
    CHECK(whole[2].begin_mm == 48);
    // 30 % of 20 mm, at the ends away from the frame.
    CHECK(rod.segments[1].begin_mm == 20);
    CHECK(rod.segments[1].end_mm == Approx(26));
    CHECK(rod.segments[2].begin_mm == Approx(62));
    CHECK(rod.segments[2].end_mm == 68);
    CHECK(rod.segments[3].begin_mm == 68);
}

TEST_CASE("A run over a guide's foot belongs to its wrap") {
    Wrapped rod;
    // On either side of the frame.
    rod.segments = {{0, 20}, {20, 35}, {35, 40}, {40, 48}, {48, 55}, {55, 68}, {68, 90}};
    rod.bodies.assign(7, {});
    const std::vector<CameraRgb> colours{blank, thread, over_foot, steel, over_foot, thread, blank};
    for (std::size_t i = 0; i < colours.size(); ++i) rod.bodies[i].linear = colours[i];
    for (const std::size_t i : {2U, 3U, 4U, 5U}) rod.part_of_the_way_round(i);
    rod.features.assign(7, {BandRole::wrap, {}});
    rod.features.front().role = rod.features.back().role = BandRole::blank;
    const std::vector<Segment> whole = leave_guide_out({3, 4}, rod.segments, rod.features, rod.bodies, plain_fit());
    REQUIRE(whole.size() == 4);
    CHECK(whole[1].begin_mm == 20);
    CHECK(whole[1].end_mm == 40);
    CHECK(whole[2].begin_mm == 48);
    CHECK(whole[2].end_mm == 68);
    // Read where no foot lies.
    CHECK(rod.segments[1].end_mm == 35);
    CHECK(rod.segments[2].begin_mm == 55);
}

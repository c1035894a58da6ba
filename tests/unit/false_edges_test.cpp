#include <catch2/catch.hpp>

#include "plain_fit.hpp"
#include "wrap/false_edges.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

constexpr CameraRgb blank{0.1, 0.1, 0.1}, red{0.4, 0.1, 0.1}, blue{0.1, 0.15, 0.4};

// Bodies whose steps are what their colours say, all round the rod.
std::vector<BodyColour> bodies_of(const std::vector<CameraRgb>& colours) {
    std::vector<BodyColour> out(colours.size());
    for (std::size_t i = 0; i < colours.size(); ++i) {
        out[i].linear = colours[i];
        for (std::size_t k = 0; k < 3 && i > 0; ++k) out[i].step[k] = colours[i].vector()[k] - colours[i - 1].vector()[k];
    }
    return out;
}

}  // namespace

TEST_CASE("Edges between bands that differ all round the rod stay") {
    std::vector<Segment> runs{{0, 20}, {20, 22}, {22, 40}, {40, 60}};
    CHECK_FALSE(join_over_false_edge(runs, bodies_of({blank, blue, red, blank}), plain_fit()));
    CHECK(runs.size() == 4);
}

TEST_CASE("Runs of one colour are joined, the likest first") {
    std::vector<Segment> runs{{0, 20}, {20, 30}, {30, 40}, {40, 60}};
    const std::vector<BodyColour> bodies = bodies_of({blank, red, {0.403, 0.1, 0.1}, blank});
    REQUIRE(join_over_false_edge(runs, bodies, plain_fit()));
    REQUIRE(runs.size() == 3);
    CHECK(runs[1].begin_mm == 20);
    CHECK(runs[1].end_mm == 40);
}

TEST_CASE("A patch of an uneven coat, which does not go all round, is no band") {
    std::vector<Segment> runs{{0, 20}, {20, 30}, {30, 40}, {40, 60}};
    std::vector<BodyColour> bodies = bodies_of({blank, red, {0.44, 0.12, 0.12}, blank});
    CHECK_FALSE(join_over_false_edge(runs, bodies, plain_fit()));
    bodies[2].step_misfit = 0.2;
    REQUIRE(join_over_false_edge(runs, bodies, plain_fit()));
    CHECK(runs.size() == 3);
    CHECK(runs[1].end_mm == 40);
}

TEST_CASE("A coat's shoulder at a wrap's end is no trim, and a trim no shoulder") {
    // It sends back what the wrap does, shaded, with white light added.
    const CameraRgb shoulder{0.4 * 0.9 + 0.03, 0.1 * 0.9 + 0.03, 0.1 * 0.9 + 0.03};
    std::vector<Segment> runs{{0, 20}, {20, 21.2}, {21.2, 40}, {40, 60}};
    REQUIRE(join_over_false_edge(runs, bodies_of({blank, shoulder, red, blank}), plain_fit()));
    REQUIRE(runs.size() == 3);
    CHECK(runs[1].begin_mm == 20);
    CHECK(runs[1].end_mm == 40);
    runs = {{0, 20}, {20, 21.2}, {21.2, 40}, {40, 60}};
    CHECK_FALSE(join_over_false_edge(runs, bodies_of({blank, blue, red, blank}), plain_fit()));
}

TEST_CASE("A gap between turns, which shows the blank, does not divide a wrap") {
    const CameraRgb half{(red.r + blank.r) / 2, (red.g + blank.g) / 2, (red.b + blank.b) / 2};
    std::vector<Segment> runs{{0, 20}, {20, 30}, {30, 31}, {31, 40}, {40, 60}};
    REQUIRE(join_over_false_edge(runs, bodies_of({blank, red, half, red, blank}), plain_fit()));
    REQUIRE(runs.size() == 3);
    CHECK(runs[1].begin_mm == 20);
    CHECK(runs[1].end_mm == 40);
}

TEST_CASE("What blur leaves between two bands is divided among them") {
    const CameraRgb between{(red.r + blue.r) / 2, (red.g + blue.g) / 2, (red.b + blue.b) / 2};
    std::vector<Segment> runs{{0, 20}, {20, 30}, {30, 30.8}, {30.8, 40}, {40, 60}};
    REQUIRE(join_over_false_edge(runs, bodies_of({blank, red, between, blue, blank}), plain_fit()));
    REQUIRE(runs.size() == 4);
    CHECK(runs[1].end_mm == Approx(30.4));
    CHECK(runs[2].begin_mm == Approx(30.4));
}

TEST_CASE("Bare blank beside bare blank is one run where the edge is not there all round") {
    std::vector<Segment> runs{{0, 20}, {20, 30}, {30, 40}, {40, 60}};
    const std::vector<BandFeatures> features{{BandRole::wrap, {}}, {BandRole::blank, {}}, {BandRole::blank, {}}, {BandRole::wrap, {}}};
    std::vector<BodyColour> bodies = bodies_of({red, blank, {0.11, 0.11, 0.11}, red});
    CHECK_FALSE(join_bare_neighbours(runs, features, bodies));
    CHECK(runs.size() == 4);
    bodies[2].step_misfit = 0.2;
    CHECK(join_bare_neighbours(runs, features, bodies));
    REQUIRE(runs.size() == 3);
    CHECK(runs[1].begin_mm == 20);
    CHECK(runs[1].end_mm == 40);
}

TEST_CASE("Thread much like the blank beside it is a wrap, the rod's ends are not") {
    constexpr auto bare = BandRole::blank, wrap = BandRole::wrap;
    const auto roles_told = [](const std::vector<CameraRgb>& colours) {
        std::vector<BandFeatures> features(colours.size());
        for (std::size_t i = 0; i < colours.size(); ++i) features[i].role = colours[i].b > 0.3 ? BandRole::wrap : BandRole::blank;
        tell_thread_from_blank(features, bodies_of(colours), plain_fit());
        std::vector<BandRole> out;
        for (const BandFeatures& f : features) out.push_back(f.role);
        return out;
    };
    const CameraRgb like{0.115, 0.115, 0.115};
    CHECK(roles_told({blank, like, blank}) == std::vector{bare, wrap, bare});
    CHECK(roles_told({blank, blue, blank, like, blank}) == std::vector{bare, wrap, bare, wrap, bare});
    CHECK(roles_told({blank, like}) == std::vector{bare, bare});  // nothing says which
    CHECK(roles_told({blank, like, blue, blank}) == std::vector{bare, wrap, wrap, bare});
    CHECK(roles_told({blank, blue, like, blank}) == std::vector{bare, wrap, wrap, bare});
    CHECK(roles_told({blank, blue, blank}) == std::vector{bare, wrap, bare});
}

#include "wrap/bands.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "colour/difference.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

// Grey skin, 40 mm long at 20 columns a mm; thread of this pitch from begin to end.
Skin skin_with_thread(double begin_mm, double end_mm, double pitch_mm) {
    Skin skin;
    for (int i = -20; i <= 20; ++i) skin.theta.push_back(0.01 * i);
    skin.ds = 0.02;
    skin.s_begin = 0.01;
    skin.columns = 2000;
    // A hash for grain: white noise of half a percent, the same every time.
    std::uint32_t state = 1;
    for (std::size_t r = 0; r < skin.theta.size(); ++r)
        for (std::size_t c = 0; c < skin.columns; ++c) {
            state = state * 1664525U + 1013904223U;
            const double s = skin.s_of(c),
                         grain = 0.01 * (static_cast<double>(state >> 8U) / 16777216.0 - 0.5);
            const double ridge =
                s >= begin_mm && s < end_mm ? 0.1 * std::cos(6.283185307179586 * s / pitch_mm) : 0.0;
            const double v = 0.3 * (1 + grain + ridge);
            skin.values.push_back({v, v, v});
        }
    return skin;
}

std::vector<BandFeatures> name_bands(const Skin& skin, const std::vector<Segment>& runs, const std::vector<Lab<D50>>& labs, double facing_theta, double px_per_mm) {
    return capture::name_bands(runs, textures_of(skin, runs, facing_theta, px_per_mm), labs);
}

}  // namespace

TEST_CASE(
    "Ends of the rod are blank, a short run beside a longer wrap is a trim, and pitch is read from the "
    "ridges") {
    const Skin skin = skin_with_thread(10, 30, 0.21);
    const std::vector<Segment> runs{{0, 10}, {10, 12.5}, {12.5, 30}, {30, 40}};
    const std::vector<Lab<D50>> labs{{20, 0, 0}, {70, 5, 40}, {40, 50, 25}, {21, 0, 1}};
    const auto bands = name_bands(skin, runs, labs, 0, 25);
    REQUIRE(bands.size() == 4);
    CHECK(bands[0].role == BandRole::blank);
    CHECK(bands[1].role == BandRole::trim);
    CHECK(bands[2].role == BandRole::wrap);
    CHECK(bands[3].role == BandRole::blank);
    CHECK_FALSE(bands[0].pitch_mm);
    REQUIRE(bands[2].pitch_mm);
    CHECK(*bands[2].pitch_mm == Approx(0.21).epsilon(0.03));
}

TEST_CASE("A pitch that the picture can't resolve is not said") {
    const Skin skin = skin_with_thread(10, 30, 0.21);
    const std::vector<Segment> runs{{0, 10}, {10, 30}, {30, 40}};
    const std::vector<Lab<D50>> labs{{20, 0, 0}, {40, 50, 25}, {20, 0, 0}};
    CHECK_FALSE(name_bands(skin, runs, labs, 0, 9)[1].pitch_mm);
    CHECK(name_bands(skin_with_thread(0, 0, 1), runs, labs, 0, 25)[1].pitch_mm.has_value() == false);
}

TEST_CASE("Where the two ends differ, the smoother one is the blank") {
    const std::vector<Segment> runs{{0, 20}, {20, 40}};
    const std::vector<Lab<D50>> labs{{40, 50, 25}, {20, 0, 0}};
    const auto thread_first = name_bands(skin_with_thread(0, 20, 0.2), runs, labs, 0, 25);
    CHECK(thread_first[0].role == BandRole::wrap);
    CHECK(thread_first[1].role == BandRole::blank);
    const auto thread_last = name_bands(skin_with_thread(20, 40, 0.2), runs, labs, 0, 25);
    CHECK(thread_last[0].role == BandRole::blank);
    CHECK(thread_last[1].role == BandRole::wrap);
}

TEST_CASE("Ends that differ by what a coat mirrors there are one blank") {
    const Skin skin = skin_with_thread(20, 30, 0.2);
    const std::vector<Segment> runs{{0, 10}, {10, 20}, {20, 30}, {30, 40}};
    // A blue blank, and the same with 1.2 % of white added, 9 apart in CIELAB; the same lightened by 4 % is another paint.
    const Lab<D50> blue{14, 9, -27}, wrap{60, 50, 25};
    const auto lit = [&](double added) {
        const XYZ<D50> c = to_xyz(blue);
        return to_lab(XYZ<D50>{c.X + added * D50::X, c.Y + added * D50::Y, c.Z + added * D50::Z});
    };
    REQUIRE(cie1976(blue, lit(0.012)) > 6);
    for (const bool lighter_first : {false, true}) {
        const auto one = lighter_first ? lit(0.012) : blue, other = lighter_first ? blue : lit(0.012);
        const auto bands = name_bands(skin, runs, {one, wrap, other, other}, 0, 25);
        CHECK(bands[0].role == BandRole::blank);
        CHECK(bands[1].role == BandRole::wrap);
        CHECK(bands[2].role == BandRole::wrap);  // of the blank's colour, but wound
        CHECK(bands[3].role == BandRole::blank);
        CHECK(name_bands(skin_with_thread(0, 0, 1), runs, {one, wrap, other, other}, 0, 25)[2].role == BandRole::blank);
    }
    CHECK(name_bands(skin_with_thread(30, 40, 0.2), {{0, 10}, {10, 20}, {20, 40}}, {blue, wrap, lit(0.04)}, 0, 25)[2].role == BandRole::wrap);
    // Nor does light of the lights' colours make a green of it.
    CHECK(name_bands(skin_with_thread(30, 40, 0.2), {{0, 10}, {10, 20}, {20, 40}}, {blue, wrap, {20, -9, -27}}, 0, 25)[2].role == BandRole::wrap);
}

TEST_CASE("A narrow band alone on bare blank is a wrap, and no runs have no names") {
    const std::vector<Segment> runs{{0, 20}, {20, 23}, {23, 40}};
    const std::vector<Lab<D50>> labs{{20, 0, 0}, {40, 50, 25}, {20, 0, 0}};
    CHECK(name_bands(skin_with_thread(20, 23, 0.2), runs, labs, 0, 25)[1].role == BandRole::wrap);
    CHECK(name_bands(skin_with_thread(0, 0, 1), {}, {}, 0, 25).empty());
}

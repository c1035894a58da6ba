#include "wrap/strands.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "plain_fit.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

const Vector3 white{1, 1, 1}, red{0.25, 0.05, 0.04}, gold{0.50, 0.36, 0.08}, dark{0.02, 0.021, 0.023};
constexpr double radius_mm = 4.5, pitch_mm = 0.2;

// Colour by place along the rod (mm) and round it (radians), under a light from one side, a window's streak and noise.
template <class Colour>
Skin skin_of(double length_mm, Colour colour) {
    std::mt19937 random(5);
    std::normal_distribution<double> normal;
    Skin skin;
    for (int i = -45; i <= 45; ++i) skin.theta.push_back(i * 0.02);
    skin.ds = 0.08;
    skin.s_begin = 0.04;
    skin.columns = static_cast<std::size_t>(length_mm / skin.ds);
    for (const double theta : skin.theta)
        for (std::size_t c = 0; c < skin.columns; ++c) {
            const double s = skin.s_of(c), streak = 0.2 * std::exp(-0.5 * std::pow((theta + 0.3 + 0.002 * s) / 0.06, 2));
            Vector3 v = colour(s, theta);
            for (double& x : v) x = x * (std::cos(theta) + 0.3 * std::sin(theta)) + streak + 0.003 * normal(random);
            skin.values.push_back(v);
        }
    return skin;
}

// The thread changes its colour every so often along its length; a share of it is gold.
Vector3 twisted(double s, double theta, double repeat_mm, double share) {
    const double turns = std::floor(s / pitch_mm - theta / 6.2831853) + theta / 6.2831853,
                 at = turns * 6.2831853 * (radius_mm + 0.002 * s) / repeat_mm;
    return at - std::floor(at) < share ? gold : red;
}

}  // namespace

TEST_CASE("thread of two colours is told with the share of each, whatever the coat mirrors") {
    const Skin skin = skin_of(20, [](double s, double theta) { return twisted(s, theta, 2.3, 0.35); });
    const std::vector<Segment> wrap{{0, 20}};
    const auto two = two_colours(skin, wrap, white, 0.0);
    REQUIRE(two);
    // Which comes first is not said.
    CHECK(std::min(two->share, 1 - two->share) == Approx(0.35).margin(0.04));
    std::size_t right = 0, marked = 0;
    const bool gold_is_second = two->share < 0.5;
    for (const auto& [place, strand] : two->mark) {
        if (strand == 3) continue;
        const bool is_gold = twisted(skin.s_of(place % skin.columns), skin.theta[place / skin.columns], 2.3, 0.35) == gold;
        marked += 1;
        right += is_gold == (gold_is_second == (strand == 2));
    }
    CHECK(marked > skin.values.size() / 10);
    CHECK(static_cast<double>(right) > 0.99 * static_cast<double>(marked));
}

TEST_CASE("thread of one colour, rings of two, and bands side by side are not thread of two colours") {
    const auto found = [](auto colour) {
        const Skin skin = skin_of(20, colour);
        return two_colours(skin, std::vector<Segment>{{0, 20}}, white, 0.0).has_value();
    };
    CHECK_FALSE(found([](double, double) { return red; }));
    CHECK_FALSE(found([](double, double) { return dark; }));
    CHECK_FALSE(found([](double s, double) { return s < 10 ? red : gold; }));
    CHECK_FALSE(found([](double s, double) { return std::fmod(s, 2.0) < 1.0 ? red : gold; }));
    // One patch, as of a coat that soaked in unevenly.
    CHECK_FALSE(found([](double s, double theta) { return std::hypot(s - 6, 5 * theta) < 2 ? gold : red; }));
}

TEST_CASE("pieces of one two-coloured wrap are joined, and the blank and plain bands beside it are left") {
    const Skin skin = skin_of(40, [](double s, double theta) {
        if (s < 8 || s >= 34) return dark;
        return s < 10 ? gold : s < 30 ? twisted(s, theta, 2.3, 0.5) : red;
    });
    std::vector<Segment> segments{{0, 8}, {8, 10}, {10, 14}, {14, 15.5}, {15.5, 24}, {24, 30}, {30, 34}, {34, 40}};
    join_two_coloured(segments, skin, white, 0.0);
    REQUIRE(segments.size() == 5);
    CHECK(segments[1].end_mm == 10.0);
    CHECK(segments[2].begin_mm == 10.0);
    CHECK(segments[2].end_mm == 30.0);
    CHECK(segments[3].end_mm == 34.0);
}

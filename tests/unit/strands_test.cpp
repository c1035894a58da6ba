#include "wrap/strands.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "plain_fit.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

const Vector3 white{1, 1, 1}, red{0.25, 0.05, 0.04}, gold{0.50, 0.36, 0.08}, dark{0.02, 0.021, 0.023};
constexpr double radius_mm = 4.5, pitch_mm = 0.2, repeat_mm = 2.34, step_mm = 0.08, step_theta = step_mm / radius_mm;
const StripeSight sharp{white, 0, radius_mm, 0.02, 0.02};

// Colour by place along the rod (mm) and round it (radians), under a light from one side, a window's streak and noise.
template <class Colour>
Skin skin_of(double length_mm, Colour colour) {
    std::mt19937 random(5);
    std::normal_distribution<double> normal;
    Skin skin;
    for (int i = -50; i <= 50; ++i) skin.theta.push_back(i * step_theta);
    skin.ds = step_mm;
    skin.s_begin = step_mm / 2;
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
Vector3 twisted(double s, double theta, double repeat, double share) {
    const double turns = std::floor(s / pitch_mm - theta / 6.2831853) + theta / 6.2831853,
                 at = turns * 6.2831853 * (radius_mm + 0.002 * s) / repeat;
    return at - std::floor(at) < share ? gold : red;
}

// Blurred by a Gaussian, millimetres.
Skin blurred(const Skin& sharp_skin, double sigma_mm) {
    const int reach = static_cast<int>(3 * sigma_mm / step_mm) + 1, rows = static_cast<int>(sharp_skin.theta.size()), columns = static_cast<int>(sharp_skin.columns);
    Skin out = sharp_skin;
    for (int r = 0; r < rows; ++r)
        for (int c = 0; c < columns; ++c) {
            Vector3 sum{};
            double total = 0;
            for (int i = std::max(0, r - reach); i <= std::min(rows - 1, r + reach); ++i)
                for (int j = std::max(0, c - reach); j <= std::min(columns - 1, c + reach); ++j) {
                    const double w = std::exp(-0.5 * ((i - r) * (i - r) + (j - c) * (j - c)) * step_mm * step_mm / (sigma_mm * sigma_mm));
                    for (std::size_t k = 0; k < 3; ++k) sum[k] += w * sharp_skin.at(static_cast<std::size_t>(i), static_cast<std::size_t>(j))[k];
                    total += w;
                }
            for (std::size_t k = 0; k < 3; ++k) out.values[static_cast<std::size_t>(r * columns + c)][k] = sum[k] / total;
        }
    return out;
}

// Of gold less red, for whichever comes second.
void check_apart(const TwoColours& two, double relative) {
    const double sign = two.apart[0] > 0 ? 1 : -1;
    for (std::size_t k = 0; k < 3; ++k) CHECK(sign * two.apart[k] == Approx(gold[k] - red[k]).margin(relative * 0.31));
}

double share_of_gold(const TwoColours& two) { return two.apart[0] > 0 ? two.share : 1 - two.share; }

}  // namespace

TEST_CASE("thread of two colours is told with how far they lie apart and the share of each, whatever the coat mirrors") {
    const auto two = two_colours(skin_of(20, [](double s, double theta) { return twisted(s, theta, repeat_mm, 0.35); }), {0, 20}, sharp);
    REQUIRE(two);
    CHECK(share_of_gold(*two) == Approx(0.35).margin(0.08));
    check_apart(*two, 0.1);
}

TEST_CASE("what blur takes from the stripes of two colours is given back") {
    const Skin skin = skin_of(20, [](double s, double theta) { return twisted(s, theta, repeat_mm, 0.5); });
    StripeSight sight = sharp;
    sight.blur_mm = sight.chroma_blur_mm = 0.25;
    const auto two = two_colours(blurred(skin, 0.25), {0, 20}, sight);
    REQUIRE(two);
    check_apart(*two, 0.15);
}

TEST_CASE("thread of one colour, rings of two, bands side by side and lights are not thread of two colours") {
    const auto found = [](auto colour) { return two_colours(skin_of(20, colour), {0, 20}, sharp).has_value(); };
    CHECK_FALSE(found([](double, double) { return red; }));
    CHECK_FALSE(found([](double, double) { return dark; }));
    CHECK_FALSE(found([](double s, double) { return s < 10 ? red : gold; }));
    CHECK_FALSE(found([](double s, double) { return std::fmod(s, 2.0) < 1.0 ? red : gold; }));
    // One patch, as of a coat that soaked in unevenly.
    CHECK_FALSE(found([](double s, double theta) { return std::hypot(s - 6, 5 * theta) < 2 ? gold : red; }));
    // A light's broad streak, and its colour.
    CHECK_FALSE(found([](double, double theta) { return Vector3{red[0] + 0.1 * std::exp(-8 * theta * theta), red[1], red[2]}; }));
}

TEST_CASE("a wave between colours that no surface has, as a streak leaves, is not thread of two colours") {
    const Vector3 beyond_white{1.3, 1.2, 0.9}, below_black{-0.3, -0.2, -0.3};
    const auto wave = [&](const Vector3& one, const Vector3& other) {
        return skin_of(20, [&](double s, double theta) { return twisted(s, theta, repeat_mm, 0.45) == gold ? one : other; });
    };
    CHECK_FALSE(two_colours(wave(beyond_white, below_black), {0, 20}, sharp));
    // The same stripes between colours that surfaces may have.
    CHECK(two_colours(wave({0.85, 0.8, 0.6}, {0.15, 0.2, 0.1}), {0, 20}, sharp));
}

TEST_CASE("stripes taken off leave the mean colour under the same gloss") {
    Skin skin = skin_of(20, [](double s, double theta) { return twisted(s, theta, repeat_mm, 0.5); });
    Vector3 mean;
    for (std::size_t k = 0; k < 3; ++k) mean[k] = (red[k] + gold[k]) / 2;
    const Skin plain = skin_of(20, [&](double, double) { return mean; });
    std::vector<Segment> runs{{0, 20}};
    const auto wraps = take_stripes_off(skin, runs, sharp, true);
    REQUIRE(wraps.size() == 1);
    CHECK(wraps[0].begin_mm == 0.0);
    CHECK(wraps[0].end_mm == 20.0);
    double squares = 0, count = 0;
    for (std::size_t r = 0; r < skin.theta.size(); ++r)
        for (std::size_t c = 10; c + 10 < skin.columns && std::abs(skin.theta[r]) < 0.5; ++c)
            for (std::size_t k = 0; k < 3; ++k) {
                squares += std::pow(skin.at(r, c)[k] - plain.at(r, c)[k], 2);
                count += 1;
            }
    CHECK(std::sqrt(squares / count) < 0.02);
}

TEST_CASE("pieces of one two-coloured wrap are joined, and the blank and plain bands beside it are left") {
    Skin skin = skin_of(40, [](double s, double theta) {
        if (s < 8 || s >= 34) return dark;
        return s < 10 ? gold : s < 30 ? twisted(s, theta, repeat_mm, 0.5) : red;
    });
    std::vector<Segment> segments{{0, 8}, {8, 10}, {10, 14}, {14, 15.5}, {15.5, 24}, {24, 30}, {30, 34}, {34, 40}};
    const auto wraps = take_stripes_off(skin, segments, sharp, true);
    REQUIRE(wraps.size() == 1);
    REQUIRE(segments.size() == 5);
    CHECK(segments[1].end_mm == 10.0);
    CHECK(segments[2].begin_mm == 10.0);
    CHECK(segments[2].end_mm == 30.0);
    CHECK(segments[3].end_mm == 34.0);
}

TEST_CASE("stripes of two greys are told where they are slanted") {
    const Vector3 grey{0.3, 0.3, 0.3};
    const auto two = two_colours(skin_of(20, [&](double s, double theta) { return twisted(s, theta, 1.6, 0.5) == gold ? grey : dark; }), {0, 20}, sharp);
    REQUIRE(two);
    CHECK(std::abs(two->apart[1]) == Approx(0.28).margin(0.06));
}

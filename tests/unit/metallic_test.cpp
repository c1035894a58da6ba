#include "wrap/metallic.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "plain_fit.hpp"
#include "wrap/body.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

constexpr double radius_mm = 4.5, step_mm = 0.1;
const Vector3 white{1, 1, 1}, blue{0.05, 0.09, 0.22}, gold{0.5, 0.36, 0.12}, pale{0.6, 0.58, 0.5};
const Segment first{0, 8}, middle{8, 20}, last{20, 28};

double shade(double theta) { return std::cos(theta) + 0.2 * std::sin(theta); }
// Film in its mean, of its colour: near the mirror angle, at 0.3, and away from it.
double lobe(double theta) { return 0.6 + 0.8 * std::exp(-std::pow((theta - 0.3) / 0.3, 2)); }

// A rod with bands of blue, of something else and of pale, under a window's streak and noise. `factor`: of the middle band's colour, by millimetres along the rod and
// round it, and angle.
template <class Factor>
Skin rod_with(const Vector3& colour, double noise, Factor factor) {
    std::mt19937 random(7);
    std::normal_distribution<double> normal;
    Skin skin;
    for (int i = -47; i <= 47; ++i) skin.theta.push_back(i * step_mm / radius_mm);
    skin.ds = step_mm;
    skin.s_begin = step_mm / 2;
    skin.columns = static_cast<std::size_t>(last.end_mm / step_mm + 0.5);
    for (const double theta : skin.theta)
        for (std::size_t c = 0; c < skin.columns; ++c) {
            const double s = skin.s_of(c), streak = 0.04 * std::exp(-0.5 * std::pow((theta + 0.25 + 0.002 * s) / 0.05, 2));
            Vector3 v = s < middle.begin_mm ? blue : s < last.begin_mm ? colour : pale;
            for (double& x : v) {
                if (s >= middle.begin_mm && s < last.begin_mm) x *= factor(s, theta * radius_mm, theta);
                x = x * shade(theta) + streak + noise * normal(random);
            }
            skin.values.push_back(v);
        }
    return skin;
}

// Facets of 0.2 by 0.3 mm, each a little brighter or darker than the others.
double facet(double s, double round) {
    std::mt19937 random(static_cast<unsigned>(std::floor(s / 0.2)) * 7919u + static_cast<unsigned>(std::floor(round / 0.3) + 1000.0));
    random.discard(3);
    return 1 + 0.35 * std::normal_distribution<double>()(random);
}
double film(double s, double round, double theta) { return lobe(theta) * facet(s, round); }
double even(double, double, double) { return 1; }

}  // namespace

TEST_CASE("film glitters, which thread, its turns, a streak of light, noise and a patch do not") {
    const auto glitter = [](const Skin& skin) { return glitters(skin, middle, white, 0); };
    CHECK(glitter(rod_with(gold, 0.004, film)));
    CHECK_FALSE(glitter(rod_with(gold, 0.004, even)));
    CHECK_FALSE(glitter(rod_with(gold, 0.02, even)));
    CHECK_FALSE(glitter(rod_with(gold, 0.004, [](double s, double, double) { return 1 + 0.2 * std::cos(2 * 3.14159265 * s / 0.4); })));
    CHECK_FALSE(glitter(rod_with(gold, 0.004, [](double, double, double theta) { return 1 + 0.5 * std::exp(-std::pow(theta / 0.03, 2)); })));
    CHECK_FALSE(glitter(rod_with(gold, 0.004, [](double s, double round, double) { return std::hypot(s - 14, round) < 2 ? 1.5 : 1.0; })));
    CHECK_FALSE(glitters(rod_with(gold, 0.004, film), first, white, 0));
}

TEST_CASE("too short or too dark a run is not said to glitter") {
    CHECK_FALSE(glitters(rod_with(gold, 0.004, film), {8, 9.4}, white, 0));
    CHECK(glitters(rod_with(gold, 0.004, film), {8, 10}, white, 0));
    CHECK_FALSE(glitters(rod_with({0.008, 0.008, 0.008}, 0.001, film), middle, white, 0));
}

TEST_CASE("film's looks near the mirror angle and away from it are told, and do not spoil its neighbours") {
    const CameraShade resolved{14, 100, 0.2, 0.0};
    const std::vector<Segment> bands{first, middle, last};
    const auto bodies = body_colours(rod_with(gold, 0.002, film), bands, plain_fit(), 0.0, resolved, {{}, {1}});
    const auto matt = body_colours(rod_with(gold, 0.002, even), bands, plain_fit(), 0.0, resolved);
    REQUIRE(bodies[1].looks);
    CHECK_FALSE(bodies[0].looks);
    constexpr double let_in = 0.985;  // body.cpp, coat_entry: this skin's light is all let in
    for (std::size_t k = 0; k < 3; ++k) {
        const double face = bodies[1].looks->face.vector()[k], flop = bodies[1].looks->flop.vector()[k];
        CHECK(face == Approx(gold[k] * 1.4 / let_in).epsilon(0.08));
        CHECK(flop == Approx(gold[k] * 0.6 / let_in).epsilon(0.08));
        CHECK(bodies[1].linear.vector()[k] == Approx((face + flop) / 2));
        CHECK(std::sqrt(bodies[1].covariance.sum()(k, k)) > 0.5 * (face - flop) / 2);
        CHECK(bodies[0].linear.vector()[k] == Approx(matt[0].linear.vector()[k]).margin(0.004));
        CHECK(bodies[2].linear.vector()[k] == Approx(matt[2].linear.vector()[k]).epsilon(0.02));
    }
}

TEST_CASE("what would send back less than nothing away from the lamps is no film, and is read as plain thread") {
    const CameraShade resolved{14, 100, 0.2, 0.0};
    const std::vector<Segment> bands{first, middle, last};
    const Skin skin = rod_with(gold, 0.002, [](double, double, double theta) { return 1 - 2.6 * std::abs(theta); });
    const auto bodies = body_colours(skin, bands, plain_fit(), 0.0, resolved, {{}, {1}}), matt = body_colours(skin, bands, plain_fit(), 0.0, resolved);
    for (std::size_t i = 0; i < bands.size(); ++i) {
        CHECK_FALSE(bodies[i].looks);
        CHECK(bodies[i].linear.vector() == matt[i].linear.vector());
    }
}

TEST_CASE("film between film only has no matt band to compare with") {
    const CameraShade resolved{14, 100, 0.2, 0.0};
    const auto bodies = body_colours(rod_with(gold, 0.002, film), {first, middle, last}, plain_fit(), 0.0, resolved, {{}, {0, 1, 2}});
    for (const BodyColour& body : bodies) {
        CHECK_FALSE(body.looks);
        CHECK(std::isfinite(body.linear.r));
    }
}

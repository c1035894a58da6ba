#include "wrap/evenness.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "plain_fit.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

constexpr double degree = 0.017453292519943295;
const Vector3 red{0.20, 0.05, 0.04}, dull_red{0.10, 0.03, 0.03};

// A rod's skin under a light from above, its body as the caller paints it, a mirror image as the caller gives it, thread's texture and noise.
template <class Body, class Mirror>
Skin painted(Body body, Mirror mirror) {
    std::mt19937 random(7);
    std::normal_distribution<double> normal;
    Skin skin;
    for (int i = -45; i <= 45; ++i) skin.theta.push_back(i * degree);
    skin.ds = 0.1;
    skin.s_begin = 0.05;
    skin.columns = 200;
    for (const double theta : skin.theta)
        for (std::size_t c = 0; c < skin.columns; ++c) {
            const double s = skin.s_of(c);
            Vector3 v = body(s, theta);
            for (std::size_t k = 0; k < 3; ++k) v[k] = v[k] * std::cos(theta) * (1 + 0.1 * normal(random)) + mirror(s, theta) + 0.002 * normal(random);
            skin.values.push_back(v);
        }
    return skin;
}

double spread_of(const Skin& skin, const Vector3& body) {
    const auto found = spread_within(skin, {0, 20}, CameraRgb::from(body), plain_fit(), 0.0);
    REQUIRE(found);
    return found->distance;
}

double none(double, double) { return 0; }
Vector3 even(double, double) { return red; }

}  // namespace

TEST_CASE("An even wrap spreads little, whatever its coat mirrors") {
    CHECK(spread_of(painted(even, none), red) < 2);
    // A window's streak that comes and goes along the rod, a bar of dark in a bright room.
    CHECK(spread_of(painted(even, [](double s, double theta) { return std::abs(theta) < 5 * degree && s > 7 && s < 15 ? 0.5 : 0.0; }), red) < 2);
    CHECK(spread_of(painted(even, [](double s, double theta) { return theta > 0 && s > 12 ? 0.002 : 0.015; }), red) < 2);
}

TEST_CASE("Patches of another colour spread it, and it is said where") {
    const Skin patchy = painted([](double s, double theta) { return std::hypot(s - 6, 12 * theta) < 3.5 ? dull_red : red; }, none);
    const auto found = spread_within(patchy, {0, 20}, CameraRgb::from(red), plain_fit(), 0.0);
    REQUIRE(found);
    CHECK(found->distance > 8);
    CHECK(found->at_mm == Approx(6).margin(3));
}

TEST_CASE("Of a short band, or one that is out of the picture, nothing is said") {
    const Skin skin = painted(even, none);
    CHECK_FALSE(spread_within(skin, {0, 5}, CameraRgb::from(red), plain_fit(), 0.0));
    Skin lost = skin;
    for (Vector3& v : lost.values) v = {std::nan(""), std::nan(""), std::nan("")};
    CHECK_FALSE(spread_within(lost, {0, 20}, CameraRgb::from(red), plain_fit(), 0.0));
}

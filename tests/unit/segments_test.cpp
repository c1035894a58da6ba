#include "wrap/segments.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "plain_fit.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

struct Run {
    double end_mm;
    Vector3 body;
};

// Blur of the lens along the rod, ridges of thread and noise, as a photo has them.
Skin striped(const std::vector<Run>& runs, double blur_mm, double ridges, double noise, unsigned seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> normal;
    Skin skin;
    for (int i = -20; i <= 20; ++i) skin.theta.push_back(i * 0.02);
    skin.ds = 0.05;
    skin.s_begin = 1.525;
    skin.columns = static_cast<std::size_t>((runs.back().end_mm - 1.5) / skin.ds);
    for (std::size_t r = 0; r < skin.theta.size(); ++r)
        for (std::size_t c = 0; c < skin.columns; ++c) {
            const double s = skin.s_of(c);
            Vector3 v = runs.front().body;
            for (std::size_t i = 0; i + 1 < runs.size(); ++i) {
                const double share = 0.5 * (1 + std::erf((s - runs[i].end_mm) / (std::sqrt(2.0) * blur_mm)));
                for (std::size_t k = 0; k < 3; ++k) v[k] += share * (runs[i + 1].body[k] - runs[i].body[k]);
            }
            const double ridge = 1 + ridges * std::sin(2 * 3.14159265 * s / 0.26);
            for (double& x : v) x = x * ridge + noise * normal(random);
            skin.values.push_back(v);
        }
    return skin;
}

const Vector3 dark{0.03, 0.03, 0.03}, red{0.2, 0.04, 0.03}, gold{0.45, 0.33, 0.08};

}  // namespace

TEST_CASE("bands and a trim of one millimetre are found, with edges to a tenth of a millimetre") {
    const std::vector<Run> runs{{12.0, dark}, {13.0, gold}, {31.37, red}, {32.9, gold}, {50.0, dark}};
    const auto found = find_segments(striped(runs, 0.08, 0.05, 0.004, 1), plain_fit(), 0.0);
    REQUIRE(found.size() == runs.size());
    for (std::size_t i = 0; i + 1 < runs.size(); ++i) CHECK(found[i].end_mm == Approx(runs[i].end_mm).margin(0.1));
}

TEST_CASE("thread texture and noise make no bands") {
    for (unsigned seed = 1; seed <= 20; ++seed) {
        const auto found = find_segments(striped({{60.0, red}}, 0.1, 0.15, 0.02, seed), plain_fit(), 0.0);
        CHECK(found.size() == 1);
    }
}

TEST_CASE("blur between two bands makes no third") {
    const auto found = find_segments(striped({{20.0, dark}, {40.0, gold}}, 0.4, 0.0, 0.002, 3), plain_fit(), 0.0);
    REQUIRE(found.size() == 2);
    CHECK(found[0].end_mm == Approx(20.0).margin(0.3));
}

TEST_CASE("a skin too short to tell anything has no segments") {
    CHECK(find_segments(striped({{2.0, red}}, 0.1, 0, 0, 1), plain_fit(), 0.0).empty());
}

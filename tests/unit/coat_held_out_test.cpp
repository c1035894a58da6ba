#include "colour/coat_held_out.hpp"

#include <catch2/catch.hpp>
#include <random>

#include "colour/difference.hpp"

using namespace bindhue;

namespace {

// Nylon that coats otherwise than the prior has it, read with a noise of 0.4.
std::vector<CoatTest> tests_of(std::size_t count) {
    std::mt19937 random(4);
    std::normal_distribution<double> noise(0, 0.4), normal(0, 1);
    std::vector<CoatTest> out;
    for (std::size_t i = 0; i < count; ++i) {
        const Lab<D50> dry{50 + 12 * normal(random), 20 * normal(random), 20 * normal(random)}, ground{18, 0, 0};
        Lab<D50> look = coated_look(coating_prior(Material::nylon, Schedule::finish, {0.5, -1, 0.5, 0.8, 0}), 0.15, Surface::nearest({dry, {}, {}}),
                                    Surface::nearest({ground, {}, {}}));
        look = {look.L + noise(random), look.a + noise(random), look.b + noise(random)};
        out.push_back({Material::nylon, Schedule::finish, 0.15, ground, dry, look});
    }
    return out;
}

}  // namespace

TEST_CASE("Each coat test is predicted by the others alone") {
    const std::vector<CoatTest> tests = tests_of(12);
    const auto found = held_out(tests);
    REQUIRE(found.size() == 1);
    const HeldOut& h = found[0];
    CHECK(h.tests == 12);
    CHECK(h.learned.median < h.prior.median);
    CHECK(h.learned.median < h.mean_shift.median);
    CHECK(h.learned.median <= h.learned.p95);
    CHECK(h.inside >= 0.8);
    // By hand.
    std::vector<double> errors;
    for (std::size_t i = 0; i < tests.size(); ++i) {
        std::vector<CoatTest> others = tests;
        others.erase(others.begin() + static_cast<std::ptrdiff_t>(i));
        const auto look = CoatModel(others).predict(Material::nylon, Schedule::finish, 0.15, {tests[i].dry, {}, {}}, {tests[i].ground, {}, {}});
        REQUIRE(look);
        errors.push_back(ciede2000(look->lab, tests[i].finished));
    }
    std::sort(errors.begin(), errors.end());
    CHECK(h.learned.median == Approx(errors[6]).margin(1e-9));
}

TEST_CASE("What cannot be held out is left out") {
    CHECK(held_out({}).empty());
    CHECK(held_out(tests_of(1)).empty());
    CHECK(held_out(tests_of(2)).size() == 1);
    std::vector<CoatTest> foil = tests_of(3);
    for (CoatTest& t : foil) t.material = Material::metallic;
    CHECK(held_out(foil).empty());
    CHECK(held_out(tests_of(90))[0].tests == 90);
}

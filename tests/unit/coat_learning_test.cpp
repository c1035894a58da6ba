#include "colour/coat_learning.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <vector>

#include "colour/difference.hpp"

using namespace bindhue;

namespace {

Reading exact(const Lab<D50>& lab) { return {lab, {}, {}}; }

const Lab<D50> dark{18, 0, 0}, light{92, 0, 2};
const std::vector<Lab<D50>> dries{{45, 50, 30}, {60, -20, 15}, {40, 5, -35}, {75, 10, 45}, {35, 25, 5}, {55, 0, 0}, {50, -30, -15}, {65, 30, 20}};

// A coat that is not what the prior expects: its parameters lie a deviation off.
const std::array<double, 5> off{0.5, -1, 0.5, 0.8, 0};

std::vector<CoatTest> tests_of(Material material, std::size_t count) {
    std::vector<CoatTest> out;
    for (std::size_t i = 0; i < count; ++i) {
        const Lab<D50>& dry = dries[i % dries.size()];
        const Lab<D50>& ground = i % 3 == 0 ? light : dark;
        const Lab<D50> finished = coated_look(coating_prior(material, Schedule::finish, off), 0.15, Surface::nearest(exact(dry)),
                                              Surface::nearest(exact(ground)));
        out.push_back({material, Schedule::finish, 0.15, ground, dry, finished});
    }
    return out;
}

}  // namespace

TEST_CASE("With no coat test the prediction is the prior's") {
    const CoatModel none;
    for (const Material material : all_materials) {
        const auto one = none.predict(material, Schedule::finish, 0.15, exact(dries[0]), exact(dark));
        const auto other = predict_finished(material, Schedule::finish, 0.15, exact(dries[0]), exact(dark));
        REQUIRE(one);
        REQUIRE(other);
        CHECK(one->lab.vector() == other->lab.vector());
        CHECK(one->covariance.m == other->covariance.m);
        CHECK(none.tests(material, Schedule::finish) == 0);
    }
}

TEST_CASE("Coat tests teach looks of threads that were never tested, and make them surer") {
    const CoatModel learned(tests_of(Material::nylon, 8));
    CHECK(learned.tests(Material::nylon, Schedule::finish) == 8);
    const Lab<D50> dry{52, 35, 45};
    const Lab<D50> truth = coated_look(coating_prior(Material::nylon, Schedule::finish, off), 0.15, Surface::nearest(exact(dry)),
                                       Surface::nearest(exact(dark)));
    const auto before = predict_finished(Material::nylon, Schedule::finish, 0.15, exact(dry), exact(dark));
    const auto after = learned.predict(Material::nylon, Schedule::finish, 0.15, exact(dry), exact(dark));
    REQUIRE(before);
    REQUIRE(after);
    CHECK(ciede2000(before->lab, truth) > 3);
    CHECK(ciede2000(after->lab, truth) < 1);
    for (std::size_t k = 0; k < 3; ++k) {
        CHECK(after->covariance(k, k) > 0);
        CHECK(after->covariance(k, k) < before->covariance(k, k));
    }
    CHECK(validate(*after));
    // Another material has learned nothing from it.
    const auto silk = learned.predict(Material::silk, Schedule::finish, 0.15, exact(dry), exact(dark));
    CHECK(silk->lab.vector() == predict_finished(Material::silk, Schedule::finish, 0.15, exact(dry), exact(dark))->lab.vector());
}

TEST_CASE("A test that the others contradict is named and does not rule") {
    std::vector<CoatTest> tests = tests_of(Material::nylon, 10);
    tests[4].finished = {80, -40, 60};
    const CoatModel learned(tests);
    REQUIRE(learned.outliers().size() == 1);
    CHECK(learned.outliers()[0] == 4);
    const Lab<D50> dry{52, 35, 45};
    const Lab<D50> truth = coated_look(coating_prior(Material::nylon, Schedule::finish, off), 0.15, Surface::nearest(exact(dry)),
                                       Surface::nearest(exact(dark)));
    CHECK(ciede2000(learned.predict(Material::nylon, Schedule::finish, 0.15, exact(dry), exact(dark))->lab, truth) < 2.5);
}

TEST_CASE("An uncertain reading makes the prediction less sure, learned or not") {
    const CoatModel learned(tests_of(Material::nylon, 8));
    const Reading sure = exact(dries[0]), unsure{dries[0], Matrix3::diagonal({4, 4, 4}), {}};
    const auto one = learned.predict(Material::nylon, Schedule::finish, 0.15, sure, exact(dark));
    const auto other = learned.predict(Material::nylon, Schedule::finish, 0.15, unsure, exact(dark));
    const auto third = learned.predict(Material::nylon, Schedule::finish, 0.15, sure, Reading{dark, Matrix3::diagonal({9, 9, 9}), {}});
    CHECK(other->covariance(0, 0) > one->covariance(0, 0) + 0.2);
    CHECK(third->covariance(0, 0) > one->covariance(0, 0));
}

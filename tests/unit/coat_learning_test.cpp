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
}

TEST_CASE("A material, a schedule and a finish product without tests borrow from those that have some, and stay less sure") {
    const CoatModel learned(tests_of(Material::nylon, 8));
    const Lab<D50> dry{52, 35, 45};
    const auto truth = [&](Material material, Schedule schedule) {
        return coated_look(coating_prior(material, schedule, off), 0.15, Surface::nearest(exact(dry)), Surface::nearest(exact(dark)));
    };
    for (const auto& [material, schedule] : {std::pair{Material::silk, Schedule::finish}, std::pair{Material::polyester, Schedule::finish}}) {
        CAPTURE(name(material), name(schedule));
        const auto before = predict_finished(material, schedule, 0.15, exact(dry), exact(dark)),
                   after = learned.predict(material, schedule, 0.15, exact(dry), exact(dark));
        REQUIRE((before && after));
        CHECK(learned.tests(material, schedule) == 0);
        CHECK(ciede2000(after->lab, truth(material, schedule)) < 0.8 * ciede2000(before->lab, truth(material, schedule)));
        const auto own = CoatModel(tests_of(material, 8)).predict(material, schedule, 0.15, exact(dry), exact(dark));
        CHECK(after->covariance(0, 0) > own->covariance(0, 0));
    }
    // Metallic keeps its colour whatever the others do.
    CHECK(learned.predict(Material::metallic, Schedule::finish, 0.15, exact(dry), exact(dark))->lab.vector() == dry.vector());
}

TEST_CASE("Tests by two finish products teach both apart, and a third is between them") {
    // The second product touches less of the fibre than the first.
    std::vector<CoatTest> tests;
    const std::array<double, 5> other{0.5, -1, 0.5, -1.2, 0};
    for (const bool first : {true, false})
        for (CoatTest t : tests_of(Material::polyester, 8)) {
            t.finish.product = first ? "Clear River" : "Mill Pond";
            if (!first)
                t.finished = coated_look(coating_prior(t.material, t.schedule, other), t.size_mm, Surface::nearest(exact(t.dry)), Surface::nearest(exact(t.ground)));
            tests.push_back(t);
        }
    tests.push_back(tests[0]);  // most were made with the first
    const CoatModel learned(tests);
    CHECK(learned.lessons().size() == 2);
    CHECK(learned.outliers().empty());
    const Lab<D50> dry{52, 35, 45};
    const auto look = [&](const CoatModel& model) { return model.predict(Material::polyester, Schedule::finish, 0.15, exact(dry), exact(dark))->lab; };
    const auto truth = [&](const std::array<double, 5>& z) {
        return coated_look(coating_prior(Material::polyester, Schedule::finish, z), 0.15, Surface::nearest(exact(dry)), Surface::nearest(exact(dark)));
    };
    REQUIRE(ciede2000(truth(off), truth(other)) > 4);
    CHECK(ciede2000(look(learned.with({"Clear River", Build::unsaid, 0})), truth(off)) < 1.5);
    CHECK(ciede2000(look(learned.with({"Mill Pond", Build::unsaid, 0})), truth(other)) < 1.5);
    CHECK(look(learned).vector() == look(learned.with({"Clear River", Build::unsaid, 0})).vector());
    const auto unheard = learned.with({"Slack Tide", Build::unsaid, 0}).predict(Material::polyester, Schedule::finish, 0.15, exact(dry), exact(dark)),
               known = learned.with({"Mill Pond", Build::unsaid, 0}).predict(Material::polyester, Schedule::finish, 0.15, exact(dry), exact(dark));
    CHECK(unheard->covariance(0, 0) > known->covariance(0, 0));
}

TEST_CASE("What a high build or more coats do is learned over all kinds of coat") {
    std::vector<CoatTest> tests;
    const auto built = [](Build build, double contact) {
        std::array<double, 5> z{};
        z[3] = build == Build::high ? contact : -contact;
        return z;
    };
    for (const Material material : {Material::polyester, Material::ncp_nylon})
        for (const Build build : {Build::thin, Build::high})
            for (CoatTest t : tests_of(material, 8)) {
                t.finish.build = build;
                t.finished = coated_look(coating_prior(material, t.schedule, built(build, 0.3)), t.size_mm, Surface::nearest(exact(t.dry)), Surface::nearest(exact(t.ground)));
                tests.push_back(t);
            }
    const CoatModel learned(tests);
    const Lab<D50> dry{70, 10, 45};
    const auto lightness = [&](Material material, Build build) {
        return learned.with({"", build, 0}).predict(material, Schedule::finish, 0.15, exact(dry), exact(dark))->lab.L;
    };
    for (const Material material : {Material::polyester, Material::ncp_nylon, Material::nylon}) {  // the last was never tested
        CAPTURE(name(material));
        CHECK(lightness(material, Build::high) < lightness(material, Build::thin) - 0.3);
    }
}

TEST_CASE("The residual bends looks near tests and fades to nothing away from them") {
    // Dark threads that coat greener than physics has it, whatever its parameters.
    std::vector<CoatTest> tests;
    for (int i = 0; i < 12; ++i) {
        const Lab<D50> dry{25.0 + i % 4, 2.0 * (i % 3), 1.0 * (i % 5)};
        Lab<D50> finished = coated_look(coating_prior(Material::nylon, Schedule::finish), 0.15, Surface::nearest(exact(dry)), Surface::nearest(exact(dark)));
        finished.a -= 3;
        tests.push_back({Material::nylon, Schedule::finish, 0.15, dark, dry, finished});
    }
    const CoatModel learned(tests);
    const auto greener = [&](const Lab<D50>& dry, const Lab<D50>& ground) {
        return predict_finished(Material::nylon, Schedule::finish, 0.15, exact(dry), exact(ground))->lab.a -
               learned.predict(Material::nylon, Schedule::finish, 0.15, exact(dry), exact(ground))->lab.a;
    };
    CHECK(greener({26, 2, 2}, dark) > 1.5);
    CHECK(std::abs(greener({90, 0, 0}, light)) < 1);
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

TEST_CASE("In parts the prediction is the same") {
    const CoatModel learned(tests_of(Material::nylon, 8));
    const Reading dry{{52, 35, 45}, Matrix3::diagonal({0.5, 1, 1}), {}}, ground{dark, Matrix3::diagonal({2, 1, 1}), {}};
    const Surface over = Surface::nearest(dry), under = Surface::nearest(ground);
    for (const Material material : {Material::nylon, Material::silk}) {  // one learned, one not
        const auto whole = learned.predict(material, Schedule::finish, 0.2, dry, ground);
        REQUIRE(whole);
        CHECK(learned.predicted_look(material, Schedule::finish, 0.2, over, under).vector() == whole->lab.vector());
        const FinishedCovariance parts = learned.predicted_covariance(material, Schedule::finish, 0.2, over, under);
        CHECK((parts.from_dry + parts.rest).m == whole->covariance.m);
    }
}

TEST_CASE("Slopes of a look are what differences of looks say") {
    const std::array<double, 5> at{0.3, -0.5, 0.2, 0.4, 0.1};
    const Surface dry = Surface::nearest(exact({52, 35, 45})), ground = Surface::nearest(exact({60, 5, 10}));
    const LookSlopes slopes = look_slopes(Material::nylon, Schedule::finish, at, 0.15, dry, ground);
    const auto look = [](const std::array<double, 5>& z, const Surface& d, const Surface& g) {
        return coated_look(coating_prior(Material::nylon, Schedule::finish, z), 0.15, d, g).vector();
    };
    const auto alike = [](double slope, double difference) { CHECK(std::abs(slope - difference) < 0.06 + 0.1 * std::abs(difference)); };
    for (std::size_t k = 0; k < at.size(); ++k) {
        auto less = at, more = at;
        less[k] -= 0.1;
        more[k] += 0.1;
        for (std::size_t axis = 0; axis < 3; ++axis)
            alike(slopes.by_parameter[k][axis], (look(more, dry, ground)[axis] - look(less, dry, ground)[axis]) / 0.2);
    }
    for (std::size_t k = 0; k < 3; ++k) {
        Vector3 less = dry.reading().lab.vector(), more = less, below = ground.reading().lab.vector(), above = below;
        less[k] -= 1;
        more[k] += 1;
        below[k] -= 1;
        above[k] += 1;
        const auto surface = [](const Vector3& lab) { return Surface::nearest(exact(Lab<D50>::from(lab))); };
        for (std::size_t axis = 0; axis < 3; ++axis) {
            alike(slopes.by_dry(axis, k), (look(at, surface(more), ground)[axis] - look(at, surface(less), ground)[axis]) / 2);
            alike(slopes.by_ground(axis, k), (look(at, dry, surface(above))[axis] - look(at, dry, surface(below))[axis]) / 2);
        }
    }
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

#include "colour/coat_check.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "colour/difference.hpp"

using namespace bindhue;

namespace {

const ReadingContext door{"phone", "bench", "door"};
const Lab<D50> dark{18, 0, 0}, red{45, 50, 30};

Reading read(const Lab<D50>& lab, double sd) { return {lab, Matrix3::diagonal({sd * sd, sd * sd, sd * sd}), {}}; }

Lab<D50> look(Material material, Schedule schedule, const Lab<D50>& spool) {
    return predicted_look(material, schedule, 0.15, Surface::nearest({spool, {}, {}}), Surface::nearest({dark, {}, {}}));
}

TestWrap wrap_of(Schedule told, Schedule done, double sd = 0.4) {
    TestWrap wrap;
    wrap.schedule = told;
    wrap.ground = read(dark, sd);
    wrap.dry = read(look(Material::nylon, Schedule::none, red), sd);
    wrap.finished = read(look(Material::nylon, done, red), sd);
    return wrap;
}

// Coat tests of threads that coat as the prior has it.
CoatModel taught(Schedule schedule) {
    std::vector<CoatTest> tests;
    for (const Lab<D50>& dry : {Lab<D50>{60, -20, 15}, {40, 5, -35}, {75, 10, 45}, {35, 25, 5}, {55, 0, 0}, {50, -30, -15}, {65, 30, 20}, {48, 45, 30},
                                {42, 52, 25}, {50, 55, 35}})
        tests.push_back({Material::nylon, schedule, 0.15, dark, dry, look(Material::nylon, schedule, dry)});
    return CoatModel(tests);
}

}  // namespace

TEST_CASE("A shift is told in lightness, chroma and hue with the errors of both readings") {
    const ColourShift shift = colour_shift(read({40, 30, 0}, 1), read({30, 0, 20}, 2));
    CHECK(shift.L.value == Approx(-10));
    CHECK(shift.L.high - shift.L.low == Approx(2 * 1.96 * std::sqrt(5.0)));
    CHECK(shift.C.value == Approx(-10));
    REQUIRE(shift.h);
    CHECK(shift.h->value == Approx(90));
    // In degrees 1 unit across a chroma of 30, and 2 across one of 20.
    CHECK(shift.h->high - shift.h->value == Approx(1.96 * std::hypot(1.0 / 30, 2.0 / 20) * 57.2958).epsilon(1e-4));
    CHECK(shift.delta_e.low < ciede2000(Lab<D50>{40, 30, 0}, Lab<D50>{30, 0, 20}));
    CHECK(shift.delta_e.high > ciede2000(Lab<D50>{40, 30, 0}, Lab<D50>{30, 0, 20}));
    // Across hue 0 it goes the short way; a grey has no hue.
    CHECK(colour_shift(read({40, 30, 3}, 0.1), read({40, 30, -3}, 0.1)).h->value == Approx(-2 * std::atan2(3, 30) * 57.2958).epsilon(1e-4));
    CHECK_FALSE(colour_shift(read({40, 30, 3}, 1), read({40, 1, 1}, 1)).h);
}

TEST_CASE("The intervals of a shift hold it as often as they say") {
    std::mt19937 random(5);
    std::normal_distribution<double> noise(0, 1);
    const Lab<D50> before{45, 50, 30}, after{25, 36, 20};
    int L = 0, C = 0, h = 0;
    constexpr int rounds = 2000;
    const LCh<D50> from = to_lch(before), to = to_lch(after);
    for (int i = 0; i < rounds; ++i) {
        const auto off = [&](const Lab<D50>& c) { return read({c.L + noise(random), c.a + noise(random), c.b + noise(random)}, 1); };
        const ColourShift s = colour_shift(off(before), off(after));
        const auto holds = [](const Estimate& e, double truth) { return e.low <= truth && truth <= e.high; };
        L += holds(s.L, to.L - from.L);
        C += holds(s.C, to.C - from.C);
        h += s.h && holds(*s.h, to.h - from.h);
    }
    for (const int held : {L, C, h}) CHECK(std::abs(held / double(rounds) - 0.95) < 0.015);
}

TEST_CASE("What one camera, card and light err by in both readings cancels in the shift") {
    Reading before{{45, 50, 30}, Matrix3::diagonal({2, 4, 4}), door, Matrix3::diagonal({1.8, 3.5, 3.5})}, after = before;
    after.lab = {43, 48, 29};
    const ColourShift alike = colour_shift(before, after);
    after.context.light = "tube";
    const ColourShift unlike = colour_shift(before, after);
    CHECK(alike.L.high - alike.L.low < 0.6 * (unlike.L.high - unlike.L.low));
    CHECK(alike.delta_e.high < unlike.delta_e.high);
}

TEST_CASE("A dry wrap's colour leads back to the spool's, and says what it cannot know") {
    for (const Lab<D50>& spool : {Lab<D50>{45, 50, 30}, {80, 5, 15}, {30, 5, -30}}) {
        const Lab<D50> seen = look(Material::nylon, Schedule::none, spool);
        const auto back = spool_colour(Material::nylon, 0.15, read(seen, 0.1), read(dark, 0.1));
        REQUIRE(back);
        // How well a layer hides its ground is little known beforehand, so that a light colour comes only part of the way back.
        CHECK(ciede2000(back->lab, spool) < 0.5 * ciede2000(seen, spool) + 0.3);
        CHECK(mahalanobis_squared(spool, *back) < 1);
        CHECK(validate(*back));
        // The layer's own spread comes on top.
        CHECK(back->covariance(0, 0) > 0.3);
    }
    // Clear thread hides little of its ground: then the colour is hardly known.
    const auto clear = spool_colour(Material::monofilament, 0.15, read({40, 5, 5}, 0.5), read(dark, 0.5));
    REQUIRE(clear);
    CHECK(validate(*clear));
    CHECK(clear->covariance(1, 1) > 4);
    CHECK_FALSE(spool_colour(Material::nylon, 9, read(red, 1), read(dark, 1)));
}

TEST_CASE("A coat that did what tests taught is as expected, another coat is not, and optics alone can't tell") {
    const auto right = check_coat(taught(Schedule::finish), wrap_of(Schedule::finish, Schedule::finish));
    REQUIRE(right);
    CHECK(right->verdict == CoatVerdict::as_expected);
    CHECK(right->coat_tests == 10);
    CHECK(right->best_estimates_apart < 1);
    CHECK(right->off.low <= right->off.value);
    CHECK(right->off.value <= right->off.high);
    CHECK(right->measured.delta_e.value > 15);
    CHECK(right->expected.delta_e.value == Approx(right->measured.delta_e.value).margin(1.5));

    const auto forgotten = check_coat(taught(Schedule::preserver_finish), wrap_of(Schedule::preserver_finish, Schedule::finish));
    REQUIRE(forgotten);
    CHECK(forgotten->verdict == CoatVerdict::not_as_expected);
    CHECK_THAT(forgotten->leans, Catch::Contains("darker"));

    const auto nothing = check_coat(taught(Schedule::finish), wrap_of(Schedule::finish, Schedule::none));
    REQUIRE(nothing);
    CHECK(nothing->verdict == CoatVerdict::not_as_expected);

    // Under preserver the shift is small, and what optics alone knows of it is wide.
    const auto prior = check_coat(CoatModel(), wrap_of(Schedule::preserver_finish, Schedule::preserver_finish));
    REQUIRE(prior);
    CHECK(prior->verdict == CoatVerdict::cannot_tell);
    CHECK(prior->coat_tests == 0);
    const auto blurred = check_coat(taught(Schedule::preserver_finish), wrap_of(Schedule::preserver_finish, Schedule::preserver_finish, 4));
    REQUIRE(blurred);
    CHECK(blurred->verdict == CoatVerdict::cannot_tell);
}

TEST_CASE("A sound coat is hardly ever said to be unlike what was expected") {
    // Threads drawn from the prior itself, read with noise: the region is stated at 95 %.
    std::mt19937 random(11);
    std::normal_distribution<double> normal(0, 1);
    int refused = 0;
    constexpr int rounds = 300;
    for (int i = 0; i < rounds; ++i) {
        const Lab<D50> spool{50 + 12 * normal(random), 20 * normal(random), 20 * normal(random)};
        const double dry_S = normal(random);
        std::array<double, 5> z{dry_S, 0, 0, 0, 0};
        for (std::size_t k = 1; k < 5; ++k) z[k] = normal(random);
        const Surface dry = Surface::nearest({spool, {}, {}}), ground = Surface::nearest({dark, {}, {}});
        const auto noisy = [&](const Lab<D50>& c) {
            return read({std::clamp(c.L + 0.7 * normal(random), 0.0, 100.0), c.a + 0.7 * normal(random), c.b + 0.7 * normal(random)}, 0.7);
        };
        TestWrap wrap;
        wrap.ground = noisy(dark);
        wrap.dry = noisy(coated_look(coating_prior(Material::nylon, Schedule::none, {dry_S, 0, 0, 0, 0}), 0.15, dry, ground));
        wrap.finished = noisy(coated_look(coating_prior(Material::nylon, Schedule::finish, z), 0.15, dry, ground));
        const auto check = check_coat(CoatModel(), wrap);
        REQUIRE(check);
        refused += check->verdict == CoatVerdict::not_as_expected;
    }
    CHECK(refused < 0.08 * rounds);
}

TEST_CASE("What cannot be checked is refused, and says where") {
    const TestWrap sound = wrap_of(Schedule::finish, Schedule::finish);
    const auto where = [](const TestWrap& wrap, double tolerance = 2) {
        const auto check = check_coat(CoatModel(), wrap, tolerance);
        REQUIRE_FALSE(check);
        CHECK_FALSE(check.error().mend.empty());
        return check.error().where;
    };
    TestWrap wrap = sound;
    wrap.schedule = Schedule::none;
    CHECK(where(wrap) == "schedule");
    wrap = sound;
    wrap.finished.lab.L = std::nan("");
    CHECK(where(wrap) == "finished");
    wrap = sound;
    wrap.ground.lab.L = 300;
    CHECK(where(wrap) == "ground");
    wrap = sound;
    wrap.size_mm = 5;
    CHECK(where(wrap) == "size_mm");
    CHECK(where(sound, -1) == "tolerance");
}

TEST_CASE("A test wrap becomes a coat test of the spool's colour, with what its readings err by") {
    const TestWrap wrap = wrap_of(Schedule::finish, Schedule::finish);
    const auto test = coat_test_of(wrap);
    REQUIRE(test);
    CHECK(ciede2000(test->dry, red) < 0.6);
    CHECK(mahalanobis_squared(red, {test->dry, test->dry_covariance, {}}) < 1);
    CHECK(test->finished.vector() == wrap.finished.lab.vector());
    CHECK(test->finished_covariance.m == wrap.finished.covariance.m);
    CHECK(test->dry_covariance(0, 0) > wrap.dry.covariance(0, 0));
}

TEST_CASE("An uneven wrap is checked, and not learned from") {
    TestWrap wrap = wrap_of(Schedule::finish, Schedule::finish);
    wrap.spread = most_even_spread - 0.1;
    CHECK(coat_test_of(wrap));
    wrap.spread = most_even_spread + 4;
    CHECK(check_coat(CoatModel(), wrap));
    const auto refused = coat_test_of(wrap);
    REQUIRE_FALSE(refused);
    CHECK(refused.error().what.find("spreads by 9") != std::string::npos);
}

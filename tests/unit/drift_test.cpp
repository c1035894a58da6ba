#include "colour/drift.hpp"

#include <catch2/catch.hpp>
#include <random>
#include <vector>

using namespace bindhue;

namespace {

const ReadingContext door{"phone", "bench", "door"}, tube{"phone", "bench", "tube"};

Reading reading(const Lab<D50>& lab, const ReadingContext& context = door) {
    return {lab, Matrix3::diagonal({4, 4, 4}), context, Matrix3::diagonal({3.75, 3.75, 3.75})};
}

}  // namespace

TEST_CASE("what readings of one kind share hides no drift, between kinds it does") {
    const Lab<D50> before{60, 20, 30}, after{62, 19, 33};
    const Drift seen = drift_between(reading(before), reading(after));
    CHECK(seen.same_kind);
    CHECK(seen.beyond_chance);
    CHECK(seen.delta_e == Approx(ciede2000(before, after)));
    CHECK(seen.interval_low < seen.delta_e);
    CHECK(seen.interval_high > seen.delta_e);
    CHECK(seen.leans == lean(before, after));
    const Drift hidden = drift_between(reading(before), reading(after, tube));
    CHECK_FALSE(hidden.same_kind);
    CHECK_FALSE(hidden.beyond_chance);
    CHECK(hidden.interval_high > seen.interval_high);
}

TEST_CASE("a thread that stays as it is seems to drift once in a hundred readings") {
    std::mt19937 random(3);
    std::normal_distribution<double> shared(0, std::sqrt(3.75)), own(0, 0.5);
    int told = 0;
    constexpr int pairs = 4000;
    for (int i = 0; i < pairs; ++i) {
        const Vector3 error{shared(random), shared(random), shared(random)};
        const auto read = [&] {
            return reading({60 + error[0] + own(random), 20 + error[1] + own(random), 30 + error[2] + own(random)});
        };
        const Reading first = read(), second = read();
        told += drift_between(first, second).beyond_chance;
    }
    // Binomial: 40 expected, deviation 6.3.
    CHECK(told > 20);
    CHECK(told < 62);
}

TEST_CASE("spools that drift the same way point at what they share") {
    const auto twice = [](const Lab<D50>& at, const Vector3& shift) {
        return ReadTwice{reading(at), reading({at.L + shift[0], at.a + shift[1], at.b + shift[2]})};
    };
    const Lab<D50> red{40, 50, 20}, green{50, -30, 20}, grey{70, 0, 5};
    const Vector3 yellower{1, 0, 5}, alike{0, 1, 4}, bluer{0, 0, -5}, still{0, 0, 0};
    CHECK(drift_alike(std::vector{twice(red, yellower), twice(green, alike)}));
    CHECK(drift_alike(std::vector{twice(red, yellower), twice(green, alike), twice(grey, still)}));
    CHECK_FALSE(drift_alike(std::vector{twice(red, yellower), twice(green, bluer)}));
    CHECK_FALSE(drift_alike(std::vector{twice(red, yellower), twice(grey, still)}));
    CHECK_FALSE(drift_alike({}));
}

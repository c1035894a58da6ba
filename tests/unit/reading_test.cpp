#include "colour/reading.hpp"

#include <algorithm>
#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <random>
#include <vector>

using namespace bindhue;

namespace {

Reading reading(double L, double a, double b, const Matrix3& covariance = {}) {
    return {{L, a, b}, covariance, {}};
}

// A covariance with unequal, turned axes.
Matrix3 tilted(double scale) {
    const Matrix3 half{{1, 0, 0, 0.5, 0.8, 0, -0.3, 0.4, 0.6}};
    return scale * (half * transpose(half));
}

// CIEDE2000 of many independent Gaussian draws of both colours: the definition, by brute force.
std::vector<double> drawn(const Reading& one, const Reading& other, int count) {
    const auto root = [](const Matrix3& c) {  // Cholesky, for positive definite or zero c
        Matrix3 l;
        if (c(0, 0) == 0) return l;
        l(0, 0) = std::sqrt(c(0, 0));
        l(1, 0) = c(1, 0) / l(0, 0);
        l(2, 0) = c(2, 0) / l(0, 0);
        l(1, 1) = std::sqrt(c(1, 1) - l(1, 0) * l(1, 0));
        l(2, 1) = (c(2, 1) - l(2, 0) * l(1, 0)) / l(1, 1);
        l(2, 2) = std::sqrt(c(2, 2) - l(2, 0) * l(2, 0) - l(2, 1) * l(2, 1));
        return l;
    };
    const Matrix3 l1 = root(one.covariance), l2 = root(other.covariance);
    std::mt19937_64 random(7);
    std::normal_distribution<double> normal;
    std::vector<double> out;
    for (int i = 0; i < count; ++i) {
        const auto draw = [&](const Reading& r, const Matrix3& l) {
            const double x = normal(random), y = normal(random), z = normal(random);
            const Vector3 d = l * Vector3{x, y, z};
            return Lab<D50>{r.lab.L + d[0], r.lab.a + d[1], r.lab.b + d[2]};
        };
        const Lab<D50> x = draw(one, l1), y = draw(other, l2);
        out.push_back(ciede2000(x, y));
    }
    std::sort(out.begin(), out.end());
    return out;
}

}  // namespace

TEST_CASE("readings are of the same kind only if camera, card and light are known and equal") {
    const ReadingContext full{"phone", "bench", "door"};
    CHECK(full.same_kind({"phone", "bench", "door"}));
    CHECK_FALSE(full.same_kind({"phone", "bench", "tube"}));
    CHECK_FALSE(ReadingContext{}.same_kind(ReadingContext{}));
    CHECK_FALSE((ReadingContext{"phone", "", "door"}).same_kind({"phone", "", "door"}));
}

TEST_CASE("a reading is refused for the reason that is wrong with it") {
    const double nan = std::numeric_limits<double>::quiet_NaN(), huge = 1e308;
    CHECK(validate(reading(50, 10, -10, tilted(2))));
    CHECK(validate(reading(0, 0, 0)));
    for (const Reading& bad : {reading(nan, 0, 0), reading(-0.1, 0, 0), reading(110.1, 0, 0),
                               reading(50, huge, 0), reading(50, 0, -201)}) {
        const Status status = validate(bad);
        REQUIRE_FALSE(status);
        CHECK(status.error().reason == Reason::bad_value);
        CHECK(status.error().where == "lab");
        CHECK_FALSE(status.error().mend.empty());
    }
    Matrix3 lopsided = tilted(1);
    lopsided(0, 1) += 0.01;
    for (const Matrix3& bad :
         {Matrix3::diagonal({1, -0.1, 1}), Matrix3::diagonal({1, nan, 1}),
          Matrix3::diagonal({huge, huge, huge}), Matrix3{{1, 2, 0, 2, 1, 0, 0, 0, 1}}, lopsided}) {
        const Status status = validate(reading(50, 0, 0, bad));
        REQUIRE_FALSE(status);
        CHECK(status.error().where == "covariance");
    }
}

TEST_CASE("two readings combine by inverse covariance") {
    const Matrix3 c1 = tilted(3), c2 = Matrix3::diagonal({1, 4, 2});
    const Reading both = combine(std::array{reading(50, 10, 0, c1), reading(53, 8, 4, c2)});
    const Matrix3 expected = inverse(inverse(c1) + inverse(c2));
    const Vector3 mean = expected * [&] {
        const Vector3 x = inverse(c1) * Vector3{50, 10, 0}, y = inverse(c2) * Vector3{53, 8, 4};
        return Vector3{x[0] + y[0], x[1] + y[1], x[2] + y[2]};
    }();
    CHECK(both.lab.L == Approx(mean[0]));
    CHECK(both.lab.a == Approx(mean[1]));
    CHECK(both.lab.b == Approx(mean[2]));
    for (std::size_t i = 0; i < 9; ++i) CHECK(both.covariance.m[i] == Approx(expected.m[i]).margin(1e-12));
    CHECK(validate(both));
}

TEST_CASE("an exact reading wins, two exact ones meet in the middle, and only what they share stays said") {
    Reading exact = reading(40, 1, 2), rough = reading(60, 5, 5, tilted(9));
    exact.context = {"phone", "bench", "door"};
    rough.context = {"phone", "bench", "tube"};
    for (const Reading& both : {combine(std::array{exact, rough}), combine(std::array{rough, exact})}) {
        CHECK(both.lab.L == Approx(40));
        CHECK(both.covariance.m[0] == Approx(0).margin(1e-12));
        CHECK(both.context.camera == "phone");
        CHECK(both.context.light.empty());
    }
    CHECK(combine(std::array{exact, reading(42, 1, 2)}).lab.L == Approx(41));
}

TEST_CASE("what several readings share does not average out, what they do not share does") {
    Reading one = reading(50, 10, 0, Matrix3::diagonal({4, 4, 4}));
    one.shared = Matrix3::diagonal({3, 3, 3});
    const std::vector<Reading> four(4, one);
    const Reading both = combine(four);
    CHECK(both.lab.L == Approx(50));
    for (std::size_t i = 0; i < 3; ++i) {
        CHECK(both.covariance(i, i) == Approx(3 + 1.0 / 4));
        CHECK(both.shared(i, i) == Approx(3));
    }
    CHECK(validate(both));

    std::vector<Reading> lights(2, one);
    lights[0].context = {"phone", "bench", "door"};
    lights[1].context = {"phone", "bench", "tube"};
    const Reading unlike = combine(lights);
    CHECK(unlike.covariance(0, 0) == Approx(3 * 0.75 + 1.0 / 2));
    CHECK(unlike.context.card == "bench");
    CHECK(unlike.context.light.empty());
}

TEST_CASE("what two readings of one kind share cancels in their difference, less for unlike colours") {
    Reading one = reading(50, 10, 0, Matrix3::diagonal({4, 4, 4})), other = one;
    one.shared = other.shared = Matrix3::diagonal({3, 3, 3});
    CHECK(difference_covariance(one, other)(0, 0) == Approx(8));  // contexts are not known
    one.context = other.context = {"phone", "bench", "door"};
    CHECK(difference_covariance(one, other)(0, 0) == Approx(2));
    Reading far = other;
    far.lab.a += 80;
    CHECK(difference_covariance(one, far)(0, 0) > 7.9);

    other.lab.L += 4;
    CHECK(disagreement(one, other) > 7);
    Reading elsewhere = other;
    elsewhere.context.light = "tube";
    CHECK(disagreement(one, elsewhere) == Approx(2).epsilon(1e-3));
    CHECK(DifferenceDistribution(one, other).quantile(0.975) <
          DifferenceDistribution(one, elsewhere).quantile(0.975) - 1);
}

TEST_CASE("no more can be shared than there is") {
    Reading one = reading(50, 10, 0, Matrix3::diagonal({4, 4, 4}));
    one.shared = Matrix3::diagonal({3, 5, 3});
    const Status status = validate(one);
    REQUIRE_FALSE(status);
    CHECK(status.error().where == "shared");
}

TEST_CASE("the 95 % ellipsoid lies at a squared distance of 7.815, and an exact reading divides by no zero") {
    const Reading r = reading(50, 0, 0, Matrix3::diagonal({4, 1, 1}));
    CHECK(mahalanobis_squared({50 + 2 * std::sqrt(7.815), 0, 0}, r) == Approx(7.815).epsilon(1e-3));
    CHECK(mahalanobis_squared({50, 0, 0}, reading(50, 0, 0)) == 0.0);
    CHECK(mahalanobis_squared({50, 1, 0}, reading(50, 0, 0)) == Approx(1e4));
}

TEST_CASE("the distribution of the difference agrees with 200000 draws of both colours") {
    struct Case {
        Reading one, other;
    };
    for (const auto& [one, other] :
         {Case{reading(50, 20, 10, tilted(0.5)), reading(51, 22, 9, tilted(1))},
          Case{reading(30, 2, -25, tilted(4)), reading(33, 5, -20, Matrix3::diagonal({9, 4, 4}))},
          Case{reading(70, 0, 1, Matrix3::diagonal({1, 1, 1})), reading(70, 0, 1, tilted(2))},
          Case{reading(85, -5, 80, {}), reading(80, 3, 70, Matrix3::diagonal({25, 16, 60}))},
          Case{reading(12, 1, -2, tilted(1)), reading(5, 0, 0, Matrix3::diagonal({12, 3, 3}))}}) {
        const DifferenceDistribution got(one, other);
        const std::vector<double> truth = drawn(one, other, 200000);
        double mean = 0;
        for (const double d : truth) mean += d / static_cast<double>(truth.size());
        CAPTURE(one.lab.L, mean);
        CHECK(got.at_best_estimate() == ciede2000(one.lab, other.lab));
        CHECK(got.expected() == Approx(mean).epsilon(0.01));
        for (const double p : {0.025, 0.25, 0.5, 0.75, 0.975}) {
            const double quantile = truth[static_cast<std::size_t>(p * static_cast<double>(truth.size()))];
            CAPTURE(p);
            CHECK(got.quantile(p) == Approx(quantile).epsilon(p < 0.1 ? 0.12 : 0.05));
            CHECK(got.pass_chance(quantile) == Approx(p).margin(0.03));
        }
    }
}

TEST_CASE("the difference of exact readings is one number") {
    const DifferenceDistribution d(reading(50, 3, 3), reading(52, 3, 3));
    CHECK(d.quantile(0) == Approx(d.at_best_estimate()).epsilon(1e-12));
    CHECK(d.quantile(1) == Approx(d.expected()).epsilon(1e-12));
    CHECK(d.pass_chance(d.expected() + 0.001) == 1.0);
    CHECK(d.pass_chance(d.expected() - 0.001) == 0.0);
}

TEST_CASE("the same readings always give the same distribution, and it does not matter which comes first") {
    const Reading one = reading(50, 20, 10, tilted(2)), other = reading(55, 18, 12, tilted(1));
    const DifferenceDistribution d(one, other), again(one, other), swapped(other, one);
    CHECK(d.expected() == again.expected());
    CHECK(d.quantile(0.9) == again.quantile(0.9));
    CHECK(swapped.expected() == Approx(d.expected()).epsilon(1e-3));
}

TEST_CASE("a lean is said in the words of the bench, most visible first") {
    CHECK(lean({50, 0, 0}, {50, 0, 0}).empty());
    CHECK(lean({50, 0, 0}, {50.3, 0, 0}).empty());
    CHECK(lean({50, 0, 0}, {55, 0, 0}) == "lighter");
    CHECK(lean({50, 40, 20}, {45, 40, 20}) == "darker");
    CHECK(lean({50, 40, 20}, {50, 30, 15}) == "duller");
    CHECK(lean({50, 30, 15}, {50, 40, 20}) == "more vivid");
    CHECK(lean({50, 0, 0}, {50, 5, 1}) == "redder");
    CHECK(lean({50, 0, 0}, {50, 0, -5}) == "bluer");
    // Hue shifts by the axis they follow: red to orange, green to teal, yellow to lime, blue to violet.
    CHECK(lean({50, 40, 0}, {50, 39, 9}) == "yellower");
    CHECK(lean({50, -40, 10}, {50, -41, 0}) == "bluer");
    CHECK(lean({80, 0, 60}, {80, -8, 59.5}) == "greener");
    CHECK(lean({40, 0, -40}, {40, 9, -39}) == "redder");
    CHECK(lean({50, 40, 0}, {60, 39, 9}) == "lighter, yellower");
    CHECK(lean({50, 40, 0}, {54, 38, 14}) == "yellower, lighter");
}

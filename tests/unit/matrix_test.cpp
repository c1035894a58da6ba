#include "colour/matrix.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <random>

using namespace bindhue;

namespace {
double largest_difference(const Matrix3& a, const Matrix3& b) {
    double worst = 0;
    for (std::size_t i = 0; i < 9; ++i) worst = std::max(worst, std::abs(a.m[i] - b.m[i]));
    return worst;
}
}  // namespace

TEST_CASE("A matrix times its inverse is the identity") {
    std::mt19937 random(1);
    std::uniform_real_distribution<double> entry(-1, 1);
    int tried = 0;
    while (tried < 1000) {
        Matrix3 a;
        for (double& v : a.m) v = entry(random);
        if (std::abs(determinant(a)) < 0.01) continue;
        ++tried;
        REQUIRE(largest_difference(a * inverse(a), Matrix3::identity()) < 1e-12);
        REQUIRE(largest_difference(inverse(a) * a, Matrix3::identity()) < 1e-12);
    }
}

TEST_CASE("Rows and columns are where row-major storage puts them") {
    constexpr Matrix3 a{{1, 2, 3, 4, 5, 6, 7, 8, 10}};
    STATIC_REQUIRE(a(0, 2) == 3);
    STATIC_REQUIRE(a(2, 0) == 7);
    STATIC_REQUIRE(transpose(a)(0, 2) == 7);
    STATIC_REQUIRE(determinant(a) == -3);
    constexpr Vector3 v = a * Vector3{1, 10, 100};
    STATIC_REQUIRE(v[0] == 321);
    STATIC_REQUIRE(v[2] == 1087);
}

TEST_CASE("A product of matrices applies the right one first") {
    constexpr Matrix3 a{{1, 2, 3, 4, 5, 6, 7, 8, 10}}, b{{0, 1, 0, 0, 0, 1, 1, 0, 0}};
    const Vector3 v{2, 3, 5}, once = (a * b) * v, twice = a * (b * v);
    CHECK(once == twice);
    CHECK(largest_difference(a + 2.0 * a, Matrix3::diagonal({3, 3, 3}) * a) == 0);
}

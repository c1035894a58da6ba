#include "colour/light_field.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>

using namespace bindhue;

namespace {

LightField sloping() {
    LightField field;
    field.centre = {80, 55};
    field.half_size = {55, 44};
    field.terms = {{{0.2, -0.1, -0.06, 0.03, 0.02}, {0.1, 0, 0, 0, 0}, {}}};
    return field;
}

}  // namespace

TEST_CASE("An even light field is 1 everywhere") {
    const LightField field;
    for (const double x : {-1000.0, 0.0, 1000.0})
        for (const double light : field.at({x, -x})) CHECK(light == 1.0);
}

TEST_CASE("A light field has a mean of 1 over the rectangle of the patches") {
    const LightField field = sloping();
    Vector3 sum{};
    constexpr int n = 400;
    for (int i = 0; i < n; ++i)
        for (int k = 0; k < n; ++k) {
            const Vector3 light = field.at({25 + 110 * (i + 0.5) / n, 11 + 88 * (k + 0.5) / n});
            for (std::size_t c = 0; c < 3; ++c) sum[c] += light[c];
        }
    for (const double s : sum) CHECK(s / (n * n) == Approx(1).margin(1e-5));
}

TEST_CASE("A light field follows its formula inside, and stops growing beyond its reach") {
    const LightField field = sloping();
    const Vector3 corner = field.at({135, 99});
    CHECK(corner[0] == Approx(1 + 0.2 - 0.1 - 0.06 * 2 / 3 + 0.03 + 0.02 * 2 / 3));
    CHECK(corner[1] == Approx(1.1));
    CHECK(corner[2] == 1.0);
    CHECK(field.at({80 + 1.25 * 55, 55})[1] == Approx(1.125));
    CHECK(field.at({1e6, 55})[1] == Approx(1.125));
}

TEST_CASE("A light field stays positive and defined for hostile places and terms") {
    constexpr double nan = std::numeric_limits<double>::quiet_NaN(),
                     infinity = std::numeric_limits<double>::infinity();
    LightField field = sloping();
    field.terms[0][0] = -40;
    CHECK(field.at({135, 55})[0] == 0.05);
    for (const double x : {nan, infinity, -infinity})
        for (const double light : field.at({x, x})) CHECK(light >= 0.05);
    field.half_size = {0, -1};
    for (const double light : field.at({3, 4})) CHECK(light > 0);
}

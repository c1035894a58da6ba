#include "colour/smoothest.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <random>

#include "colour/cie_tables.hpp"

using namespace bindhue;

namespace {

double worst_miss(const Spectrum& r, const XYZ<D50>& c) {
    const XYZ<D50> got = reflectance_to_xyz_d50(r);
    return std::max({std::abs(got.X - c.X), std::abs(got.Y - c.Y), std::abs(got.Z - c.Z)});
}

bool strictly_between_0_and_1(const Spectrum& r) {
    return std::all_of(r.values.begin(), r.values.end(), [](double v) { return v > 0 && v < 1; });
}

Spectrum weight(std::size_t k) {
    Spectrum w;
    double sum = 0;
    for (std::size_t i = 0; i < spectrum_size; ++i) sum += cie::illuminant_d50[i] * cie::ybar[i];
    for (std::size_t i = 0; i < spectrum_size; ++i)
        w[i] = cie::illuminant_d50[i] * (k == 0 ? cie::xbar : k == 1 ? cie::ybar : cie::zbar)[i] / sum;
    return w;
}

double dot(const Spectrum& a, const Spectrum& b) {
    double sum = 0;
    for (std::size_t i = 0; i < spectrum_size; ++i) sum += a[i] * b[i];
    return sum;
}

// Largest component of the slope's gradient that lies along the constraints, relative to the gradient: 0 at
// the minimum.
double stationarity(const Spectrum& r) {
    Spectrum z, by_z, gradient;
    for (std::size_t i = 0; i < spectrum_size; ++i) {
        z[i] = std::atanh(2 * r[i] - 1);
        by_z[i] = 2 * r[i] * (1 - r[i]);
    }
    for (std::size_t i = 0; i < spectrum_size; ++i)
        gradient[i] =
            (i > 0 ? 2 * (z[i] - z[i - 1]) : 0) + (i + 1 < spectrum_size ? 2 * (z[i] - z[i + 1]) : 0);
    const double before = std::sqrt(dot(gradient, gradient));
    std::array<Spectrum, 3> basis;
    for (std::size_t k = 0; k < 3; ++k) {
        basis[k] = weight(k);
        for (std::size_t i = 0; i < spectrum_size; ++i) basis[k][i] *= by_z[i];
        for (int twice = 0; twice < 2; ++twice)
            for (std::size_t m = 0; m < k; ++m) {
                const double along = dot(basis[k], basis[m]);
                for (std::size_t i = 0; i < spectrum_size; ++i) basis[k][i] -= along * basis[m][i];
            }
        const double norm = std::sqrt(dot(basis[k], basis[k]));
        for (double& v : basis[k].values) v /= norm;
    }
    for (const Spectrum& b : basis) {
        const double along = dot(gradient, b);
        for (std::size_t i = 0; i < spectrum_size; ++i) gradient[i] -= along * b[i];
    }
    return std::sqrt(dot(gradient, gradient)) / std::max(before, 1e-3);
}

}  // namespace

TEST_CASE(
    "The smoothest reflectance has the colour, stays between 0 and 1, and no feasible change makes it "
    "smoother") {
    int found = 0;
    for (double L = 2; L < 100; L += 6)
        for (double a = -80; a <= 90; a += 10)
            for (double b = -80; b <= 100; b += 10) {
                const XYZ<D50> c = to_xyz(Lab<D50>{L, a, b});
                const Result<Spectrum> r = smoothest_reflectance(c);
                if (!r) {
                    // The colours of thread are well inside the solid.
                    CAPTURE(L, a, b);
                    if (L > 20 && L < 80) REQUIRE(std::hypot(a, b) > 25);
                    continue;
                }
                ++found;
                CAPTURE(L, a, b);
                REQUIRE(worst_miss(*r, c) < 1e-10);
                REQUIRE(strictly_between_0_and_1(*r));
                REQUIRE(stationarity(*r) < 1e-6);
            }
    CHECK(found > 1500);
}

TEST_CASE("A grey reflectance comes out flat, from near black to near white") {
    for (double level : {1e-5, 1e-3, 0.02, 0.18, 0.5, 0.9, 0.99, 0.9999}) {
        const XYZ<D50> c = reflectance_to_xyz_d50(Spectrum::constant(level));
        const Result<Spectrum> r = smoothest_reflectance(c);
        CAPTURE(level);
        REQUIRE(r);
        for (double v : r->values) CHECK(v == Approx(level).epsilon(1e-4));
    }
}

TEST_CASE("Colours just inside the object-colour solid are served and just outside are refused") {
    // The edge of the solid in a direction is the colour of the reflectance that is 1 where the direction
    // gains and 0 elsewhere (Schroedinger 1920; MacAdam 1935).
    const std::array<Spectrum, 3> w{weight(0), weight(1), weight(2)};
    const Vector3 white = white_of(Illuminant::D50);
    std::mt19937 random(4);
    std::normal_distribution<double> component;
    for (int i = 0; i < 300; ++i) {
        const Vector3 direction{component(random), component(random), component(random)};
        Spectrum optimal;
        for (std::size_t k = 0; k < spectrum_size; ++k)
            optimal[k] = direction[0] * w[0][k] + direction[1] * w[1][k] + direction[2] * w[2][k] > 0;
        const Vector3 edge = reflectance_to_xyz_d50(optimal).vector();
        const auto on_ray = [&](double t) {
            Vector3 c;
            for (std::size_t k = 0; k < 3; ++k) c[k] = 0.5 * white[k] + t * (edge[k] - 0.5 * white[k]);
            return XYZ<D50>::from(c);
        };
        CAPTURE(direction);
        const Result<Spectrum> inside = smoothest_reflectance(on_ray(0.99));
        REQUIRE(inside);
        REQUIRE(worst_miss(*inside, on_ray(0.99)) < 1e-6);
        const Result<Spectrum> outside = smoothest_reflectance(on_ray(1.001));
        REQUIRE(!outside);
        REQUIRE(outside.error().reason == Reason::bad_value);
        REQUIRE(outside.error().what.find("outside the object-colour solid") != std::string::npos);
        REQUIRE(!outside.error().mend.empty());
    }
}

TEST_CASE("Impossible and broken colours are refused with a reason") {
    const double nan = std::numeric_limits<double>::quiet_NaN(),
                 inf = std::numeric_limits<double>::infinity();
    for (const XYZ<D50>& c : {XYZ<D50>{nan, 0.5, 0.5}, XYZ<D50>{0.5, inf, 0.5}, XYZ<D50>{0.5, 0.5, -inf},
                              XYZ<D50>{-0.1, 0.2, 0.1}, XYZ<D50>{0.5, 1.2, 0.5}, XYZ<D50>{0, 0, 0},
                              XYZ<D50>{1e300, 1e300, 1e300}, XYZ<D50>{-1e300, 1e300, 0}}) {
        const Result<Spectrum> r = smoothest_reflectance(c);
        REQUIRE(!r);
        CHECK(r.error().reason == Reason::bad_value);
    }
}

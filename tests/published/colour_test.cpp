#include <lcms2.h>

#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "colour/adaptation.hpp"
#include "colour/spaces.hpp"

using namespace bindhue;

TEST_CASE("CIELAB agrees with Little CMS both ways") {
    std::mt19937 random(1);
    std::uniform_real_distribution<double> L(0, 100), ab(-128, 128);
    const cmsCIEXYZ white{D50::X, D50::Y, D50::Z};
    for (int i = 0; i < 20000; ++i) {
        const Lab<D50> lab{L(random), ab(random), ab(random)};
        const XYZ<D50> xyz = to_xyz(lab);
        const cmsCIELab lcms_lab{lab.L, lab.a, lab.b};
        cmsCIEXYZ lcms_xyz;
        cmsLab2XYZ(&white, &lcms_xyz, &lcms_lab);
        REQUIRE(std::abs(xyz.X - lcms_xyz.X) < 1e-9);
        REQUIRE(std::abs(xyz.Y - lcms_xyz.Y) < 1e-9);
        REQUIRE(std::abs(xyz.Z - lcms_xyz.Z) < 1e-9);
        if (xyz.X < 0 || xyz.Y < 0 || xyz.Z < 0) continue;
        const cmsCIEXYZ back_in{xyz.X, xyz.Y, xyz.Z};
        cmsCIELab back;
        cmsXYZ2Lab(&white, &back, &back_in);
        const Lab<D50> ours = to_lab(xyz);
        // Little CMS has the constants of CIE 15 as decimal fractions; ours are the exact ratios.
        REQUIRE(std::abs(ours.L - back.L) < 1e-6);
        REQUIRE(std::abs(ours.a - back.a) < 1e-6);
        REQUIRE(std::abs(ours.b - back.b) < 1e-6);
    }
}

TEST_CASE("Bradford adaptation agrees with Little CMS between random white points") {
    std::mt19937 random(2);
    std::uniform_real_distribution<double> x(0.26, 0.48), offset(-0.02, 0.02), value(0, 1.1);
    for (int i = 0; i < 5000; ++i) {
        const auto white = [&] {
            const double wx = x(random), wy = -3 * wx * wx + 2.87 * wx - 0.275 + offset(random);
            return Vector3{wx / wy, 1.0, (1 - wx - wy) / wy};
        };
        const Vector3 from = white(), to = white(), colour{value(random), value(random), value(random)};
        const cmsCIEXYZ lcms_from{from[0], from[1], from[2]}, lcms_to{to[0], to[1], to[2]},
            lcms_colour{colour[0], colour[1], colour[2]};
        cmsCIEXYZ theirs;
        REQUIRE(cmsAdaptToIlluminant(&theirs, &lcms_from, &lcms_to, &lcms_colour));
        const Vector3 ours = adaptation_matrix(from, to) * colour;
        REQUIRE(std::abs(ours[0] - theirs.X) < 1e-9);
        REQUIRE(std::abs(ours[1] - theirs.Y) < 1e-9);
        REQUIRE(std::abs(ours[2] - theirs.Z) < 1e-9);
    }
}

TEST_CASE("The matrix from D65 to D50 is the one of the ICC's sRGB profile") {
    // ICC.1:2022 annex E and the chad tag of the ICC's sRGB profiles (s15Fixed16, hence 5 decimals), between
    // the white of IEC 61966-2-1 and the profile connection space.
    const Matrix3 m = adaptation_matrix({0.9505, 1, 1.0890}, {0.9642, 1, 0.8249});
    const Matrix3 published{
        {1.04788, 0.02292, -0.05022, 0.02959, 0.99048, -0.01707, -0.00925, 0.01508, 0.75168}};
    for (std::size_t i = 0; i < 9; ++i) CHECK(std::abs(m.m[i] - published.m[i]) < 1e-3);
}

TEST_CASE("The white of the ICC profile connection space is our D50 to 2 units of its last decimal") {
    // ICC.1:2022 7.2.16: 0.9642, 1, 0.8249. CIE 15 prints Z = 0.8251.
    const cmsCIEXYZ* pcs = cmsD50_XYZ();
    CHECK(pcs->X == Approx(D50::X).margin(1e-12));
    CHECK(pcs->Z == Approx(D50::Z).margin(2.01e-4));
    const Lab<D50> seen = to_lab(XYZ<D50>{pcs->X, pcs->Y, pcs->Z});
    CHECK(seen.L == 100.0);
    CHECK(std::abs(seen.b) < 0.02);
}

TEST_CASE("sRGB is that of IEC 61966-2-1") {
    // The matrices and constants as the standard prints them (4 decimals).
    const double to_xyz_printed[9] = {0.4124, 0.3576, 0.1805, 0.2126, 0.7152, 0.0722, 0.0193, 0.1192, 0.9505};
    const LinearSrgb primaries[3] = {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}};
    for (std::size_t column = 0; column < 3; ++column) {
        const Vector3 xyz = to_xyz(primaries[column]).vector();
        // The standard's white is 0.9505, 1, 1.0890; CIE 15's D65 is 0.9504, 1, 1.0888.
        for (std::size_t row = 0; row < 3; ++row)
            CHECK(std::abs(xyz[row] - to_xyz_printed[3 * row + column]) < 3e-4);
    }
    CHECK(to_encoded(LinearSrgb{0.0031308, 0, 0}).r == Approx(12.92 * 0.0031308).epsilon(1e-12));
    CHECK(to_encoded(LinearSrgb{0.2140, 0, 0}).r == Approx(0.5).margin(1e-4));
    CHECK(to_linear(EncodedSrgb{0.04045, 0, 0}).r == Approx(0.04045 / 12.92).epsilon(1e-12));
    CHECK(to_linear(EncodedSrgb{1, 0, 0}).r == Approx(1.0).epsilon(1e-12));
}

TEST_CASE("sRGB's tone curve agrees with Little CMS's for the same parameters") {
    const double parameters[5] = {2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045};
    cmsToneCurve* curve = cmsBuildParametricToneCurve(nullptr, 4, parameters);
    REQUIRE(curve);
    for (int i = 0; i <= 255; ++i) {
        const float encoded = static_cast<float>(i) / 255;
        const double ours = to_linear(EncodedSrgb{encoded, 0, 0}).r;
        CHECK(std::abs(ours - static_cast<double>(cmsEvalToneCurveFloat(curve, encoded))) < 1e-6);
    }
    cmsFreeToneCurve(curve);
}

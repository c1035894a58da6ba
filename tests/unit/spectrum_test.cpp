#include "colour/spectrum.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "colour/cie_tables.hpp"
#include "colour/difference.hpp"

using namespace bindhue;

namespace {
constexpr Illuminant all[] = {Illuminant::D50, Illuminant::D65, Illuminant::A,
                              Illuminant::F2,  Illuminant::F11, Illuminant::LED_B3};
}

TEST_CASE("A flat reflectance of R has Y = R and is neutral under every illuminant") {
    for (double level : {0.02, 0.2, 1.0}) {
        CHECK(reflectance_to_xyz_d50(Spectrum::constant(level)).Y == Approx(level).epsilon(1e-14));
        for (Illuminant light : all) {
            const Vector3 lab = reflectance_to_lab_under(Spectrum::constant(level), light);
            CHECK(std::abs(lab[1]) < 1e-12);
            CHECK(std::abs(lab[2]) < 1e-12);
        }
    }
}

TEST_CASE("A flat reflectance is neutral in Lab<D50> to the decimals of the white point") {
    const Lab<D50> c = to_lab(reflectance_to_xyz_d50(Spectrum::constant(1.0)));
    CHECK(c.L == Approx(100).epsilon(1e-14));
    CHECK(std::hypot(c.a, c.b) < 0.003);
}

TEST_CASE("Illuminants have names that parse back, in any case, with the CIE's FL too") {
    for (Illuminant light : all) {
        Illuminant parsed = Illuminant::D50;
        REQUIRE(parse_illuminant(name(light), parsed));
        CHECK(parsed == light);
    }
    Illuminant which = Illuminant::D50;
    CHECK(parse_illuminant("led-b3", which));
    CHECK(which == Illuminant::LED_B3);
    CHECK(parse_illuminant("fl11", which));
    CHECK(which == Illuminant::F11);
    for (const char* bad : {"", "D5", "D500", "a ", "\xff\xff"}) {
        which = Illuminant::F2;
        CHECK_FALSE(parse_illuminant(bad, which));
        CHECK(which == Illuminant::F2);
    }
}

TEST_CASE("The illuminants are the tables, 100 at 560 nm for daylight and A") {
    for (Illuminant light : {Illuminant::D50, Illuminant::D65, Illuminant::A})
        CHECK(illuminant(light)[36] == 100.0);
    CHECK(Spectrum::wavelength_nm(36) == 560.0);
    CHECK(illuminant(Illuminant::F11)[46] == 55.27);
    CHECK(Spectrum::wavelength_nm(spectrum_size - 1) == 780.0);
}

TEST_CASE("Two surfaces that match under D50 and not under another light are told apart there") {
    // Any change orthogonal to the D50-weighted observer is invisible under D50: take one wavelength and take
    // back its tristimulus values at three others.
    const auto weights = [](std::size_t i) {
        return Vector3{cie::illuminant_d50[i] * cie::xbar[i], cie::illuminant_d50[i] * cie::ybar[i],
                       cie::illuminant_d50[i] * cie::zbar[i]};
    };
    const std::size_t moved = 24, at[3] = {14, 34, 46};  // 500 nm; 450, 550, 610 nm
    Matrix3 m;
    for (std::size_t k = 0; k < 3; ++k)
        for (std::size_t r = 0; r < 3; ++r) m(r, k) = weights(at[k])[r];
    const Vector3 back = inverse(m) * weights(moved);
    const Spectrum grey = Spectrum::constant(0.4);
    Spectrum metamer = grey;
    metamer[moved] += 0.5;
    for (std::size_t k = 0; k < 3; ++k) metamer[at[k]] -= 0.5 * back[k];
    CHECK(ciede2000_under(Illuminant::D50, grey, metamer) < 1e-10);
    for (Illuminant light : {Illuminant::A, Illuminant::F2, Illuminant::F11, Illuminant::LED_B3})
        CHECK(ciede2000_under(light, grey, metamer) > 0.5);
}

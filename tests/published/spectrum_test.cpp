#include "colour/spectrum.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <numeric>

#include "colour/cie_tables.hpp"
#include "support/data_file.hpp"

using namespace bindhue;

namespace {

double sum(const cie::Table& t) { return std::accumulate(t.begin(), t.end(), 0.0); }

struct Published {
    Illuminant which;
    double x, y;  // CIE 15:2018, chromaticity for the 2-degree observer
    double X, Z;  // ASTM E308, white point for the 2-degree observer, Y = 100; 0 where it has none
};
// From memory: the ASTM figures are sums over finer or wider tables, hence not the last digit of ours.
constexpr Published published[] = {
    {Illuminant::D50, 0.3457, 0.3585, 96.422, 82.521},  {Illuminant::D65, 0.3127, 0.3290, 95.047, 108.883},
    {Illuminant::A, 0.4476, 0.4074, 109.850, 35.585},   {Illuminant::F2, 0.3721, 0.3751, 99.186, 67.393},
    {Illuminant::F11, 0.3805, 0.3769, 100.962, 64.350}, {Illuminant::LED_B3, 0.3756, 0.3723, 0, 0},
};

double rounded(double v, double unit) { return std::round(v / unit) * unit; }

}  // namespace

TEST_CASE("The observer's sums are those that the CIE prints under its 5 nm table") {
    // CIE 15:2004 table T.4, sums of the 5 nm table from 380 to 780 nm.
    CHECK(sum(cie::xbar) == Approx(21.371524).margin(1e-9));
    CHECK(sum(cie::ybar) == Approx(21.371327).margin(1e-9));
    CHECK(sum(cie::zbar) == Approx(21.371540).margin(1e-9));
    CHECK(cie::ybar[35] == 1.0);  // V(555 nm)
}

TEST_CASE(
    "The illuminants' chromaticities are the published ones to 4 decimals, and their white points ASTM "
    "E308's") {
    for (const Published& p : published) {
        CAPTURE(name(p.which));
        const Vector3 w = white_of(p.which);
        const double total = w[0] + w[1] + w[2];
        CHECK(std::abs(w[0] / total - p.x) <= 1.0e-4);
        CHECK(std::abs(w[1] / total - p.y) <= 1.0e-4);
        CHECK(w[1] == 1.0);
        if (p.X > 0) {
            CHECK(100 * w[0] == Approx(p.X).margin(0.01));
            CHECK(100 * w[2] == Approx(p.Z).margin(0.01));
        }
    }
}

TEST_CASE("The white points of the types are the tables' sums to the 4 decimals that CIE 15 prints") {
    const Vector3 d50 = white_of(Illuminant::D50), d65 = white_of(Illuminant::D65),
                  a = white_of(Illuminant::A);
    CHECK(std::abs(d50[0] - D50::X) <= 0.5e-4);
    CHECK(std::abs(d50[2] - D50::Z) <= 0.5e-4);
    CHECK(std::abs(d65[0] - D65::X) <= 0.5e-4);
    CHECK(std::abs(d65[2] - D65::Z) <= 0.5e-4);
    CHECK(std::abs(a[0] - IlluminantA::X) <= 0.5e-4);
    CHECK(std::abs(a[2] - IlluminantA::Z) <= 0.5e-4);
}

TEST_CASE("Illuminant A is its defining formula to the 6 figures that are tabulated") {
    // ISO/CIE 11664-2: 100 (560 / l)^5 (exp(1.435e7 / (2848 * 560)) - 1) / (exp(1.435e7 / (2848 l)) - 1).
    for (std::size_t i = 0; i < cie::table_size; ++i) {
        const double l = Spectrum::wavelength_nm(i);
        const double exact = 100 * std::pow(560 / l, 5) * std::expm1(1.435e7 / (2848 * 560)) /
                             std::expm1(1.435e7 / (2848 * l));
        CAPTURE(l);
        CHECK(std::abs(cie::illuminant_a[i] / exact - 1) < 5e-6);
    }
}

TEST_CASE("D50 and D65 follow from the daylight components to the figures that are tabulated") {
    const auto rows = read_rows("published/data/daylight_components.txt");
    REQUIRE(rows.size() == cie::table_size);
    const auto worst_error = [&](double nominal_temperature, const cie::Table& table) {
        // CIE 15:2018: the nominal temperature times 1.4388 / 1.4380, M1 and M2 rounded to 3 decimals.
        const double T = nominal_temperature * 1.4388 / 1.4380;
        const double x = -4.6070e9 / (T * T * T) + 2.9678e6 / (T * T) + 0.09911e3 / T + 0.244063;
        const double y = -3.000 * x * x + 2.870 * x - 0.275, m = 0.0241 + 0.2562 * x - 0.7341 * y;
        const double m1 = rounded((-1.3515 - 1.7703 * x + 5.9114 * y) / m, 1e-3);
        const double m2 = rounded((0.0300 - 31.4424 * x + 30.0717 * y) / m, 1e-3);
        double worst = 0;
        for (std::size_t i = 0; i < cie::table_size; ++i) {
            REQUIRE(rows[i].size() == 4);
            REQUIRE(rows[i][0] == Spectrum::wavelength_nm(i));
            worst = std::max(worst, std::abs(rows[i][1] + m1 * rows[i][2] + m2 * rows[i][3] - table[i]));
        }
        return worst;
    };
    CHECK(worst_error(5000, cie::illuminant_d50) <= 0.5001e-3);
    CHECK(worst_error(6500, cie::illuminant_d65) <= 0.9e-3);
}

// Constants and relations that others published for a scattering layer and its surface.
#include "colour/layer.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "colour/spaces.hpp"

using namespace bindhue;

TEST_CASE("Saunderson 1942 and Judd 1942: a surface of index 1.5 returns 0.040, 0.092 and 0.596") {
    // Saunderson, J. Opt. Soc. Am. 32 (1942) 727: k1 = 0.04, k2 = 0.6 for a resin of index 1.5.
    // Judd, J. Res. Natl. Bur. Stand. 29 (1942) 329 (RP1504): diffuse light on index 1.50, external 0.092 and
    // internal 0.596. Values from memory of the papers; 0.596 is also the textbook k2.
    CHECK(fresnel_reflectance(1.5, 0) == Approx(0.04).epsilon(1e-12));
    CHECK(fresnel_diffuse_external(1.5) == Approx(0.092).margin(0.0005));
    CHECK(fresnel_diffuse_internal(1.5) == Approx(0.596).margin(0.0005));
}

TEST_CASE("internal return of water, alcohol and resins follows from Fresnel's equations") {
    // Walsh 1926, closed form as quoted by Prahl, "Light transport in tissue" (1988), equation B41.
    CHECK(fresnel_diffuse_internal(1.333) == Approx(0.475).margin(0.0005));
    CHECK(fresnel_diffuse_internal(1.377) == Approx(0.511).margin(0.0005));
    CHECK(fresnel_diffuse_internal(1.45) == Approx(0.565).margin(0.0005));
    CHECK(fresnel_diffuse_internal(1.55) == Approx(0.625).margin(0.0005));
}

TEST_CASE("Kubelka 1954: layers laid on each other obey the compounding of reflectances") {
    // Kubelka, J. Opt. Soc. Am. 44 (1954) 330, for layers that are homogeneous each: R12 = R1 + T1^2 R2 /
    // (1 - R1 R2), T12 = T1 T2 / (1 - R1 R2). Splitting one layer in two must change nothing.
    for (const double KX : {0.0, 0.2, 2.0})
        for (const double SX : {0.1, 1.0, 7.0})
            for (const double share : {0.1, 0.5, 0.8}) {
                const TwoFluxLayer whole{KX, SX}, top{share * KX, share * SX},
                    bottom{(1 - share) * KX, (1 - share) * SX};
                const double r1 = top.reflectance_over(0), t1 = top.transmittance();
                const double r2 = bottom.reflectance_over(0), t2 = bottom.transmittance();
                CAPTURE(KX, SX, share);
                CHECK(r1 + t1 * t1 * r2 / (1 - r1 * r2) == Approx(whole.reflectance_over(0)).epsilon(1e-10));
                CHECK(t1 * t2 / (1 - r1 * r2) == Approx(whole.transmittance()).epsilon(1e-10));
            }
}

TEST_CASE("Kubelka 1948: transmittance squared from the reflectances over black and over a ground") {
    // J. Opt. Soc. Am. 38 (1948) 448: T^2 = (R - R0) (1 - R0 Rg) / Rg, and the opaque reflectance from two
    // grounds: a = (R + (R0 - R + Rg) / (R0 Rg)) / 2, Rinf = a - sqrt(a^2 - 1). These are the relations by
    // which ISO 6504-3 style hiding power is found from drawdowns on black and white.
    const TwoFluxLayer layer{0.4, 2.0};
    const double black = layer.reflectance_over(0), ground = 0.8, over = layer.reflectance_over(ground);
    CHECK((over - black) * (1 - black * ground) / ground ==
          Approx(layer.transmittance() * layer.transmittance()).epsilon(1e-12));
    const double a = 0.5 * (over + (black - over + ground) / (black * ground));
    CHECK(a - std::sqrt(a * a - 1) == Approx(infinite_reflectance(0.2)).epsilon(1e-10));
}

TEST_CASE("Lekner and Dorf 1988: a surface under a film of liquid is darker as computed from their formula") {
    // Appl. Opt. 27 (1988) 1278. Dry surface of CIELAB L, lit at 45 degrees, the film smooth and n = 1.55 or
    // 1.333; L of the wetted one was computed apart from this code from the same formula, rounded to the
    // unit.
    const auto wet = [](double L, double n) {
        const double reflectance = to_xyz(Lab<D50>{L, 0, 0}).Y;
        // What is neither mirrored at the surface nor absorbed leaves: as a reflectance factor seen square
        // on.
        return to_lab(XYZ<D50>{0, Film(n).outside(reflectance), 0}).L;
    };
    CHECK(wet(90, 1.55) == Approx(79).margin(0.5));
    CHECK(wet(70, 1.55) == Approx(52).margin(0.5));
    CHECK(wet(50, 1.55) == Approx(34).margin(0.5));
    CHECK(wet(30, 1.55) == Approx(18).margin(0.5));
    CHECK(wet(90, 1.333) == Approx(84).margin(0.5));
    CHECK(wet(70, 1.333) == Approx(59).margin(0.5));
    CHECK(wet(50, 1.333) == Approx(39).margin(0.5));
    CHECK(wet(30, 1.333) == Approx(22).margin(0.5));
    // The absorbed share itself: a = 0.5, n = 1.333: 0.972 x 0.5 / (1 - 0.475 x 0.5).
    CHECK(wetted_absorption(0.5, 1.333) == Approx(0.972 * 0.5 / (1 - 0.475 * 0.5)).margin(0.001));
}

TEST_CASE("Williams and Clapper 1953: a dye layer over paper, lit at 45 degrees and seen square on") {
    // J. Opt. Soc. Am. 43 (1953) 595, index 1.53: R = 0.193 t^2.13 / (1 / (2 R_B) - integral t^(2 sec u) r(u) sin u cos u du). Constants from memory
    // of the paper; 2.13 = 1 + sec(27.5 degrees).
    const TintedFilm film(1.53);
    const double depth = 0.3;
    const double exponent = -std::log(film.at(depth).gain / film.at(0).gain) / depth;
    CHECK(exponent == Approx(2.13).margin(0.005));
    CHECK(film.at(0).gain / 2 == Approx(0.193).margin(0.001));
    CHECK(film.at(0).returned == Approx(fresnel_diffuse_internal(1.53)).epsilon(1e-9));
    CHECK(film.at(1e-9).returned == Approx(fresnel_diffuse_internal(1.53)).margin(1e-4));
    // The integral over the hemisphere, summed here apart from the library by small steps of the angle.
    for (const double d : {0.05, 0.3, 1.0, 3.0}) {
        const int steps = 200000;
        double sum = 0;
        for (int i = 0; i < steps; ++i) {
            const double u = (i + 0.5) * std::acos(0.0) / steps, sine = 1.53 * std::sin(u);
            const double r = sine >= 1 ? 1.0 : fresnel_reflectance(1.53, std::asin(sine));
            sum += 2 * std::exp(-2 * d / std::cos(u)) * r * std::sin(u) * std::cos(u) * std::acos(0.0) / steps;
        }
        CAPTURE(d);
        CHECK(film.at(d).returned == Approx(sum).margin(1e-4));
    }
    // A dye layer darkens pale paper by more than its two crossings alone, dark paper by no more than them.
    const auto darkened = [&](double body) { return film.at(depth).outside(body) / film.at(0).outside(body); };
    CHECK(darkened(0.9) < 0.75 * std::exp(-2.13 * depth));
    CHECK(darkened(0.02) == Approx(std::exp(-2.13 * depth)).epsilon(0.02));
}

TEST_CASE("Kubelka 1948: from the reflectances over two grounds back to scattering and absorption") {
    // Kubelka's solution and its two limits, written out: S = (1/b) Ar coth ((a - R0) / (b R0)) with a from R0, R and Rg (J. Opt. Soc. Am. 38 (1948) 448,
    // equations from memory), for an ideal black ground.
    for (const double KX : {0.0, 0.02, 0.4, 3.0})
        for (const double SX : {0.3, 2.0, 6.0}) {
            const TwoFluxLayer layer{KX, SX};
            CAPTURE(KX, SX);
            for (const auto& [black, white] : {std::pair{0.0, 1.0}, std::pair{0.0, 0.8}, std::pair{0.03, 0.82}}) {
                const double over_black = layer.reflectance_over(black), over_white = layer.reflectance_over(white);
                const auto found = layer_over_two_grounds(over_black, black, over_white, white);
                REQUIRE(found);
                CHECK(found->SX == Approx(SX).epsilon(1e-4));
                CHECK(found->KX == Approx(KX).epsilon(1e-4).margin(1e-4));
            }
            if (KX > 0) {
                const double R0 = layer.reflectance_over(0), R = layer.reflectance_over(0.8);
                const double a = 0.5 * (R + (R0 - R + 0.8) / (R0 * 0.8)), b = std::sqrt(a * a - 1);
                CHECK(std::atanh(b * R0 / (1 - a * R0)) / b == Approx(SX).epsilon(1e-6));
            }
        }
    CHECK_FALSE(layer_over_two_grounds(0.5, 0.0, 0.4, 0.8));
    CHECK_FALSE(layer_over_two_grounds(0.5, 0.0, 0.5, 0.02));
    CHECK_FALSE(layer_over_two_grounds(1.5, 0.0, 0.5, 0.8));
}

TEST_CASE("ISO 6504-3: a contrast ratio of 98 % is what a paint is said to hide at") {
    // ISO 6504-3 gives the contrast ratio as Y over black by Y over white; 98 % is the usual point of full hiding (from memory; so Judd and Wyszecki, "Color
    // in Business, Science and Industry", on hiding power, for a white ground of 0.80). A white paint without absorption, S X = 20, is past it, S X = 10 is not.
    const auto ratio = [](double SX) { return contrast_ratio(TwoFluxLayer{0, SX}.reflectance_over(0), TwoFluxLayer{0, SX}.reflectance_over(0.8)); };
    CHECK(ratio(20) > 0.98);
    CHECK(ratio(10) < 0.98);
    // Without absorption R over black is S X / (1 + S X): Kubelka and Munk 1931.
    CHECK(TwoFluxLayer{0, 4}.reflectance_over(0) == Approx(0.8).epsilon(1e-12));
}

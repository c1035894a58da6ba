#include "colour/amber.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "colour/difference.hpp"

using namespace bindhue;

namespace {

Reading read(const Lab<D50>& lab, double sd = 0.3) { return {lab, Matrix3::diagonal({sd * sd, sd * sd, sd * sd}), {}}; }
Surface surface(const Lab<D50>& lab) { return Surface::nearest({lab, {}, {}}); }
Amber strength(double transmittance, double sd = 0.02) {
    const auto amber = amber_of(transmittance, sd);
    REQUIRE(amber);
    return *amber;
}

}  // namespace

TEST_CASE("Amber makes white yellower and darker, and blue greyer, the more of it, the more") {
    double b = 2, L = 92;
    for (const double transmittance : {0.9, 0.7, 0.5}) {
        const Lab<D50> white = ambered_look(surface({92, 0, 2}), strength(transmittance));
        CHECK(white.b > b + 5);
        CHECK(white.L < L);
        b = white.b;
        L = white.L;
    }
    CHECK(ambered_look(surface({40, 5, -40}), strength(0.6)).b > -25);
    const Lab<D50> same = ambered_look(surface({60, -20, 30}), strength(1));
    CHECK(ciede2000(same, Lab<D50>{60, -20, 30}) < 1e-3);
}

TEST_CASE("The more of it the finish touches, the more amber a pale wrap looks") {
    const auto b_of = [](double contact) { return ambered_look(surface({85, 0, 2}), strength(0.7), contact).b; };
    CHECK(b_of(1) > b_of(0.5) + 3);
    CHECK(b_of(0.5) > b_of(0) + 3);
}

TEST_CASE("What amber did is undone, and the region about it is wider than the reading's") {
    for (const Lab<D50>& lab : {Lab<D50>{90, 0, 3}, {45, 50, 30}, {35, 10, -35}, {55, -35, 10}, {20, 0, 0}})
        for (const double transmittance : {0.95, 0.75, 0.6}) {
            const Amber amber = strength(transmittance);
            const Reading aged = read(ambered_look(surface(lab), amber));
            const auto found = as_new(aged, amber);
            CAPTURE(lab.L, lab.a, lab.b, transmittance);
            REQUIRE(found);
            CHECK(ciede2000(found->lab, lab) < 0.05);
            CHECK(found->covariance(2, 2) > aged.covariance(2, 2));
            REQUIRE(validate(*found));
            // The less the strength is known, the less the colour is.
            CHECK(as_new(aged, strength(transmittance, 0.1))->covariance(2, 2) > found->covariance(2, 2));
        }
}

TEST_CASE("The strength of the amber is read from a white mark, matte or glossy") {
    const Reading bare = read({92, 0, 2});
    for (const double matte : {0.0, 1.0})
        for (const double transmittance : {0.9, 0.7}) {
            const Amber amber = strength(transmittance);
            const Lab<D50> clear = coated_ground_look(surface(bare.lab), matte);
            const auto found = amber_over(bare, read(ambered_look(surface(clear), amber, 1)));
            CAPTURE(matte, transmittance);
            REQUIRE(found);
            CHECK(found->transmittance() == Approx(transmittance).margin(2 * found->transmittance_sd()));
            CHECK(found->transmittance_sd() > 0.003);
            CHECK(found->transmittance_sd() < 0.08);
        }
}

TEST_CASE("Amber that can't be is refused, with what to do") {
    CHECK_FALSE(amber_of(0.01, 0.01));
    CHECK_FALSE(amber_of(1.2, 0.01));
    CHECK_FALSE(amber_of(0.7, -1));
    CHECK_FALSE(amber_of(std::nan(""), 0.1));
    CHECK_FALSE(amber_of(0.7, std::nan("")));
    const auto bluer = amber_over(read({60, 0, 20}), read({60, 0, -10}));
    REQUIRE_FALSE(bluer);
    CHECK(bluer.error().reason == Reason::cannot_measure);
    CHECK_FALSE(bluer.error().mend.empty());
    const auto too_dark = amber_over(read({4, 0, 0}, 1.5), read({4, 0, 0}, 1.5));
    REQUIRE_FALSE(too_dark);
    CHECK(too_dark.error().reason == Reason::cannot_measure);
    // A bright blue under so strong an amber would have to be bluer than any surface.
    const auto blue = as_new(read({70, -10, -35}), strength(0.1));
    REQUIRE_FALSE(blue);
    CHECK(blue.error().reason == Reason::cannot_measure);
    CHECK_FALSE(as_new(read({50, std::nan(""), 0}), strength(0.8)));
}

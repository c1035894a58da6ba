#include "colour/difference.hpp"

#include <lcms2.h>

#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "support/ciede2000_reference.hpp"
#include "support/data_file.hpp"

using namespace bindhue;

TEST_CASE("CIEDE2000 gives the 34 published pairs of Sharma, Wu and Dalal to 4 decimals, both ways") {
    const auto rows = read_rows("published/data/ciede2000_pairs.txt");
    REQUIRE(rows.size() == 34);
    for (const auto& r : rows) {
        REQUIRE(r.size() == 7);
        CAPTURE(r);
        const Lab<D50> a{r[0], r[1], r[2]}, b{r[3], r[4], r[5]};
        // Half a unit of the last printed decimal.
        CHECK(std::abs(ciede2000(a, b) - r[6]) <= 0.5e-4);
        CHECK(std::abs(ciede2000(b, a) - r[6]) <= 0.5e-4);
        const double in_long_double = static_cast<double>(reference::ciede2000(a.vector(), b.vector()));
        CHECK(std::abs(in_long_double - r[6]) <= 0.5e-4);
        double out = 0;
        ciede2000_batch(a.vector(), std::span(&b.L, 1), std::span(&b.a, 1), std::span(&b.b, 1),
                        std::span(&out, 1));
        CHECK(std::abs(out - r[6]) <= 0.5e-4);
    }
}

TEST_CASE("CIEDE2000 agrees with Little CMS on random pairs, and with the formula where Little CMS departs") {
    std::mt19937 random(1);
    std::uniform_real_distribution<double> L(0, 100), ab(-128, 128), small(-3, 3);
    constexpr int pairs = 100000;
    int departures = 0;
    for (int i = 0; i < pairs; ++i) {
        const Lab<D50> a{L(random), ab(random), ab(random)};
        const Lab<D50> b = i % 2 ? Lab<D50>{L(random), ab(random), ab(random)}
                                 : Lab<D50>{a.L + small(random), a.a + small(random), a.b + small(random)};
        const cmsCIELab lcms_a{a.L, a.a, a.b}, lcms_b{b.L, b.a, b.b};
        const double ours = ciede2000(a, b), theirs = cmsCIE2000DeltaE(&lcms_a, &lcms_b, 1, 1, 1);
        if (std::abs(ours - theirs) < 1e-9) continue;
        ++departures;
        const double truth = static_cast<double>(reference::ciede2000(a.vector(), b.vector()));
        CAPTURE(a.vector(), b.vector(), theirs);
        REQUIRE(std::abs(ours - truth) < 1e-12);
    }
    CHECK(departures < pairs / 1000);
}

TEST_CASE("At exactly opposite hues Little CMS departs from the published formula and we do not") {
    // (h1 + h2) / 2 depends on angles that differ by 180 degrees to the last bit; computed as angles, they
    // often do not.
    int lcms_departs = 0, compared = 0;
    for (int a = -60; a <= 60; a += 3)
        for (int b = -60; b <= 60; b += 3) {
            if (a == 0 && b == 0) continue;
            ++compared;
            const Lab<D50> x{50, double(a), double(b)}, y{60, -2.0 * a, -2.0 * b};
            const double truth = static_cast<double>(reference::ciede2000(x.vector(), y.vector()));
            CAPTURE(a, b);
            REQUIRE(std::abs(ciede2000(x, y) - truth) < 1e-12);
            const cmsCIELab lcms_x{x.L, x.a, x.b}, lcms_y{y.L, y.a, y.b};
            lcms_departs += std::abs(cmsCIE2000DeltaE(&lcms_x, &lcms_y, 1, 1, 1) - truth) > 1e-6;
        }
    WARN("Little CMS departs by more than 1e-6 on " << lcms_departs << " of " << compared
                                                    << " pairs of exactly opposite hue");
    CHECK(compared > 1000);
}

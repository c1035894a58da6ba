#include "colour/surface_gamut.hpp"

#include <algorithm>
#include <catch2/catch.hpp>

#include "colour/adaptation.hpp"
#include "colour/nearest.hpp"

using namespace bindhue;

TEST_CASE("The gamut of surfaces goes through the published points") {
    // Pointer (1980), illuminant C.
    CHECK(highest_surface_chroma(50, 50) == 100);
    CHECK(highest_surface_chroma(15, 210) == 0);
    CHECK(highest_surface_chroma(85, 90) == 111);
    CHECK(highest_surface_chroma(90, 350) == 6);
    CHECK(highest_surface_chroma(50, 355) == Approx((84 + 77) / 2.0));
    CHECK(highest_surface_chroma(52.5, 410) == Approx((100 + 102) / 2.0));
    CHECK(highest_surface_chroma(0, 30) == 0);
    CHECK(highest_surface_chroma(100, 30) == 0);
    CHECK(is_surface_colour({50, 0, 0}));
    CHECK_FALSE(is_surface_colour({50, -90, 90}));
}

TEST_CASE("Surface colours are sampled evenly by CIEDE2000") {
    const double step = 3;
    const auto all = surface_colours(step);
    const NearestColours index(all);
    std::vector<std::size_t> crowd;
    for (const Lab<D50>& c : all) {
        // Inside: not near the end of the region.
        bool inside = c.L > 25 && c.L < 80;
        for (const double by : {-30.0, 30.0})
            inside = inside && is_surface_colour({c.L, c.a + by, c.b}) && is_surface_colour({c.L, c.a, c.b + by}) &&
                     is_surface_colour({c.L + by / 2, c.a, c.b});
        if (inside) crowd.push_back(index.all_within(c, 3 * step).size());
    }
    REQUIRE(crowd.size() > 200);
    std::sort(crowd.begin(), crowd.end());
    const auto few = static_cast<double>(crowd[crowd.size() / 20]),
               many = static_cast<double>(crowd[crowd.size() * 19 / 20]);
    CAPTURE(all.size(), few, many);
    CHECK(many / few < 1.7);
    for (const Lab<D50>& c : all) CHECK(index.nearest(c, 2)[1].delta_e < 1.5 * step);
}

TEST_CASE("Vividness is a share of the highest chroma known, in the table's own light") {
    const auto at = [](double L, double C, double h) { return to_lab(adapt<D50>(to_xyz(to_lab(LCh<IlluminantC>{L, C, h})))); };
    CHECK(vividness(at(60, 82, 40)) == Approx(1).margin(1e-6));
    CHECK(vividness(at(60, 41, 40)) == Approx(0.5).margin(1e-6));
    CHECK(vividness({89, -58, 69}) > 1.3);
    CHECK(vividness({98, 1, -4}) == 0);    // a white, though whiter than most are blue
    CHECK(vividness({12, -14, 30}) == 0);  // dark: the table knows next to nothing
}

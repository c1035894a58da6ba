#include "reading/stick.hpp"

#include <catch2/catch.hpp>

using namespace bindhue;
using namespace bindhue::capture;

namespace {

// Bands side by side, by length and lightness.
std::vector<BandReading> bands_of(std::initializer_list<std::pair<double, double>> lengths_and_lightness) {
    std::vector<BandReading> out;
    double at = 0;
    for (const auto& [length, L] : lengths_and_lightness) {
        BandReading band;
        band.start_mm = at;
        band.length_mm = length;
        band.colour.lab = {L, 0, 0};
        out.push_back(band);
        at += length;
    }
    return out;
}

}  // namespace

TEST_CASE("A stick's four parts are found whichever way it lies, with the dowel showing beyond its sleeve") {
    const auto stick = find_stick(bands_of({{3, 86}, {46, 20}, {9, 44}, {9, 60}, {46, 93}, {7, 86}}));
    REQUIRE(stick);
    CHECK(stick->black == 1);
    CHECK(stick->over_black == 2);
    CHECK(stick->over_white == 3);
    CHECK(stick->white == 4);
    const auto turned = find_stick(bands_of({{46, 93}, {9, 60}, {9, 44}, {46, 20}, {10, 86}}));
    REQUIRE(turned);
    CHECK(turned->white == 0);
    CHECK(turned->over_white == 1);
    CHECK(turned->black == 3);
}

TEST_CASE("Thread that hides black and white alike is divided at the wrap's middle") {
    for (const auto& bands : {bands_of({{48, 20}, {30, 42}, {42, 94}}), bands_of({{3, 86}, {46, 20}, {18, 44}, {46, 94}, {7, 95}})}) {
        CHECK_FALSE(find_stick(bands));
        const auto edges = edges_across(bands);
        REQUIRE(edges);
        CHECK(edges->size() == bands.size());
    }
    CHECK(*edges_across(bands_of({{1.9, 86}, {46, 20}, {18, 44}, {46, 94}, {7, 95}})) == std::vector<double>{47.9, 56.9, 65.9, 111.9});
    CHECK(*edges_across(bands_of({{48, 20}, {30, 42}, {42, 94}})) == std::vector<double>{48, 63, 78});
    CHECK(*edges_across(bands_of({{3, 86}, {46, 20}, {18, 44}, {46, 94}, {7, 95}})) == std::vector<double>{3, 49, 58, 67, 113});
}

TEST_CASE("What is no stick is not taken for one") {
    CHECK_FALSE(find_stick({}));
    CHECK_FALSE(edges_across({}));
    CHECK_FALSE(find_stick(bands_of({{50, 40}, {20, 50}, {50, 55}})));
    CHECK_FALSE(edges_across(bands_of({{50, 40}, {20, 50}, {50, 55}})));
    // Pale thread, and white, in one band.
    CHECK_FALSE(find_stick(bands_of({{64, 90}, {56, 20}})));
    // The same with the dowel beyond the black: black is no thread.
    CHECK_FALSE(find_stick(bands_of({{2, 53}, {64, 90}, {46, 20}, {8, 34}})));
    CHECK_FALSE(edges_across(bands_of({{2, 53}, {64, 90}, {46, 20}, {8, 34}})));
    // A sliver is no wrap.
    CHECK_FALSE(edges_across(bands_of({{50, 20}, {2, 50}, {50, 94}})));
    // Told already.
    CHECK_FALSE(edges_across(bands_of({{46, 20}, {9, 44}, {9, 60}, {46, 93}})));
}

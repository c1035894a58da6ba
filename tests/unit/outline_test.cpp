#include "wrap/outline.hpp"

#include <catch2/catch.hpp>

#include "painted_rod.hpp"

using namespace painted_rod;

TEST_CASE("Where wraps stand out, the blank's diameter is told over bare blank") {
    const double stands_out = GENERATE(0.0, 0.3, 0.6);
    const OpeningImage image = opening_of(photo_of({.stands_out = stands_out}));
    const Result<Rod> rod = find_rod(image, from_above());
    REQUIRE(rod);
    INFO("they stand out by " << stands_out << " mm");
    const std::optional<Rod> blank = bare_rod(bare, image, from_above(), *rod);
    REQUIRE(blank);
    CHECK(2 * blank->radius_at(60) == Approx(2 * blank_radius).epsilon(0.02));
}

TEST_CASE("Too short a run of bare blank tells no diameter") {
    const OpeningImage image = opening_of(photo_of({.stands_out = 0.3}));
    const Result<Rod> rod = find_rod(image, from_above());
    REQUIRE(rod);
    CHECK_FALSE(bare_rod({{95, 101}}, image, from_above(), *rod));
    CHECK_FALSE(bare_rod({}, image, from_above(), *rod));
}

#include "wrap/outline.hpp"

#include <catch2/catch.hpp>

#include "painted_rod.hpp"
#include "plain_fit.hpp"

using namespace painted_rod;

TEST_CASE("Where wraps stand out, the blank's diameter is told over bare blank") {
    const double stands_out = GENERATE(0.0, 0.3, 0.6);
    const Photo photo = photo_of({.stands_out = stands_out});
    const Result<Rod> rod = find_rod(photo, layout(), from_above(), plain_fit());
    REQUIRE(rod);
    INFO("they stand out by " << stands_out << " mm");
    const std::optional<Rod> blank = bare_rod(bare, photo, opening, from_above(), plain_fit(), *rod);
    REQUIRE(blank);
    CHECK(2 * blank->radius_at(60) == Approx(2 * blank_radius).epsilon(0.02));
}

TEST_CASE("Too short a run of bare blank tells no diameter") {
    const Photo photo = photo_of({.stands_out = 0.3});
    const Result<Rod> rod = find_rod(photo, layout(), from_above(), plain_fit());
    REQUIRE(rod);
    CHECK_FALSE(bare_rod({{95, 101}}, photo, opening, from_above(), plain_fit(), *rod));
    CHECK_FALSE(bare_rod({}, photo, opening, from_above(), plain_fit(), *rod));
}

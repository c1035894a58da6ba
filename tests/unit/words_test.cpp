#include "colour/words.hpp"

#include <catch2/catch.hpp>

using namespace bindhue;

TEST_CASE("Colours are named by lightness, chroma and hue") {
    CHECK(colour_words({30, -15, 10}) == "dark dull green");
    CHECK(colour_words({50, 60, 40}) == "vivid red");
    CHECK(colour_words({80, 0, 40}) == "light yellow");
    CHECK(colour_words({50, 2, 2}) == "grey");
    CHECK(colour_words({10, 0, 0}) == "black");
    CHECK(colour_words({95, 0, 3}) == "white");
    CHECK(colour_words({40, 5, -35}) == "blue");
}

// sRGB primaries and secondaries in D50 Lab (IEC 61966-2-1, Bradford; from memory, to a unit).
TEST_CASE("The screen's primaries have the names that everybody gives them") {
    CHECK(colour_words({54, 81, 70}) == "vivid red");
    CHECK(colour_words({88, -79, 81}) == "light vivid green");
    CHECK(colour_words({30, 68, -112}).find("violet") != std::string::npos);  // CIELAB bends blue towards violet
    CHECK(colour_words({98, -16, 93}) == "light vivid yellow");
    CHECK(colour_words({60, 94, -60}) == "vivid purple");
}

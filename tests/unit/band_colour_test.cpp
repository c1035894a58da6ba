#include "reading/band_colour.hpp"

#include <algorithm>
#include <catch2/catch.hpp>

#include "plain_fit.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

bool told_as_fluorescent(const Lab<D50>& lab, bool metallic = false) {
    BandReading band;
    band.colour = {lab, Matrix3::identity(), {}};
    if (metallic) band.looks = LooksReading{band.colour, band.colour};
    warn_of_its_colour(band, plain_fit(), {0.4, 0.6, 0.2}, {});
    return std::ranges::any_of(band.warnings, [](const std::string& w) { return w.find("fluorescent") != std::string::npos; });
}

}  // namespace

TEST_CASE("A band is told to be more vivid than plain surfaces, unless it is metallic") {
    CHECK(told_as_fluorescent({89, -58, 69}));
    CHECK_FALSE(told_as_fluorescent({89, -58, 69}, true));
    CHECK_FALSE(told_as_fluorescent({48, 55, 40}));
}

TEST_CASE("An answer tells the warnings of the photo and of the bands that it rests on, but for those of pitch") {
    WrapReading reading;
    reading.warnings = {"dark"};
    reading.bands.resize(3);
    reading.bands[0].warnings = {"one"};
    reading.bands[1].warnings = {pitch_not_resolved, "two"};
    reading.bands[2].warnings = {"three"};
    CHECK(reading.warnings_on(std::vector<std::size_t>{1, 2}) == std::vector<std::string>{"dark", "band 2: two", "band 3: three"});
    CHECK(reading.warnings_on({}) == std::vector<std::string>{"dark"});
}

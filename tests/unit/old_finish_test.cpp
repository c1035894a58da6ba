#include "reading/old_finish.hpp"

#include <catch2/catch.hpp>

using namespace bindhue;
using namespace bindhue::capture;

namespace {

const OldFinishNames names{"A", "B", "C"};

std::vector<BandReading> two_bands() {
    std::vector<BandReading> out(2);
    out[0].colour = {{93, -1, 2}, Matrix3::diagonal({1, 1, 1}), {}};
    out[1].colour = {{88, -3, 24}, Matrix3::diagonal({1, 1, 1}), {}};
    return out;
}

}  // namespace

TEST_CASE("The old finish is said by its strength, by bands or by colours, and these agree") {
    const auto said = old_finish({"0.75,0.03", "", ""}, {}, names);
    REQUIRE(said);
    CHECK(said->transmittance() == Approx(0.75));
    CHECK(said->transmittance_sd() == Approx(0.03).epsilon(0.01));
    const auto bands = old_finish({"", "1", "2"}, two_bands(), names), colours = old_finish({"", "93,-1,2", "88,-3,24"}, {}, names);
    REQUIRE(bands);
    REQUIRE(colours);
    CHECK(bands->transmittance() == Approx(colours->transmittance()).epsilon(1e-6));
    CHECK(bands->transmittance() < 0.9);
}

TEST_CASE("What is said of the old finish by halves, twice or out of range is refused with its place") {
    const struct {
        OldFinishSaid said;
        const char* where;
    } cases[] = {{{"", "", ""}, "A"},      {{"0.75", "1", "2"}, "A"}, {{"", "1", ""}, "C"}, {{"", "", "2"}, "B"},       {{"0.01", "", ""}, "A"},
                 {{"nan", "", ""}, "A"},   {{"0.7,9", "", ""}, "A"},  {{"", "3", "2"}, "B"}, {{"", "1", "1,2"}, "C"}, {{"", "1", "x"}, "C"}};
    for (const auto& one : cases) {
        INFO(one.said.amber << '|' << one.said.bare << '|' << one.said.coated);
        const auto found = old_finish(one.said, two_bands(), names);
        REQUIRE_FALSE(found);
        CHECK(found.error().where == one.where);
        CHECK_FALSE(found.error().mend.empty());
    }
}

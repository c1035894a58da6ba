#include "reading/before_after.hpp"

#include <catch2/catch.hpp>

using namespace bindhue;
using namespace bindhue::capture;

namespace {

WrapReading rod(const std::vector<std::pair<BandRole, double>>& bands) {
    WrapReading out;
    out.photo = "p.jpg";
    for (const auto& [role, length] : bands) {
        BandReading band;
        band.role = role;
        band.length_mm = length;
        out.bands.push_back(band);
    }
    return out;
}

constexpr BandRole blank = BandRole::blank, wrap = BandRole::wrap, trim = BandRole::trim;

}  // namespace

TEST_CASE("The longest wrap is found again in its place, whatever its colour became") {
    const WrapReading before = rod({{blank, 10}, {wrap, 12}, {blank, 5}, {wrap, 30}, {blank, 10}}),
                      after = rod({{blank, 4}, {wrap, 12.8}, {blank, 4}, {trim, 2}, {wrap, 28.4}, {blank, 10}});
    const auto pair = same_wrap(before, after);
    REQUIRE(pair);
    CHECK(pair->before == 3);
    CHECK(pair->after == 4);
    CHECK(same_wrap(before, after, 2)->after == 1);
    CHECK(same_wrap(before, after, 0, 2)->before == 1);
    CHECK(same_wrap(before, after, 1, 6)->after == 5);
}

TEST_CASE("Where places do not tell which wrap is which, it is asked") {
    const WrapReading two = rod({{wrap, 12}, {blank, 5}, {wrap, 30}}), one = rod({{wrap, 30}}), other = rod({{wrap, 20}, {wrap, 30}}),
                      none = rod({{blank, 80}});
    const auto reason = [](const Result<WrapPair>& r) {
        REQUIRE_FALSE(r);
        CHECK_FALSE(r.error().mend.empty());
        return r.error().reason;
    };
    CHECK(reason(same_wrap(two, one)) == Reason::cannot_measure);
    CHECK(reason(same_wrap(two, other)) == Reason::cannot_measure);
    CHECK(reason(same_wrap(none, none)) == Reason::cannot_measure);
    CHECK(reason(same_wrap(two, two, 2)) == Reason::cannot_measure);  // bare blank has no place among wraps
    CHECK(reason(same_wrap(two, two, 9)) == Reason::not_found);
    CHECK(same_wrap(two, one, 3, 1));
}

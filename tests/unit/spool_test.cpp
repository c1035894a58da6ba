#include "colour/spool.hpp"

#include <catch2/catch.hpp>
#include <limits>

using namespace bindhue;

namespace {

Spool spool(const std::string& code) {
    Spool s;
    s.code = code;
    s.readings = {Reading{{50, 10, 10}, Matrix3::identity(), {}}};
    return s;
}

}  // namespace

TEST_CASE("a spool is ranked by the reading of the target's own camera, card and light, if there is one") {
    const ReadingContext door{"phone", "bench", "door"}, tube{"phone", "bench", "tube"};
    Spool s = spool("N-104");
    s.readings.push_back({{51, 11, 11}, Matrix3::diagonal({4, 4, 4}), door});
    CHECK(s.reading_for(door).lab.L == 51);
    CHECK(s.reading_for(tube).lab.L == 50);
    CHECK(s.reading_for({}).lab.L == 50);

    s.readings.push_back({{52, 12, 12}, Matrix3::diagonal({1, 1, 1}), door});
    CHECK(s.reading_for(door).lab.L == 52);  // the surer of two
    s.readings.push_back({{53, 13, 13}, Matrix3::diagonal({0.1, 0.1, 0.1}), tube});
    CHECK(s.reading_for(door).lab.L == 52);
    CHECK(s.reading_for({}).lab.L == 53);  // no like one: the surest of all
}

TEST_CASE("a rack is refused with the name of the spool that is wrong") {
    CHECK(validate(Palette{}));
    CHECK(validate(Palette{spool("A"), spool("B")}));

    const auto refused = [](const Palette& palette) {
        const Status status = validate(palette);
        REQUIRE_FALSE(status);
        CHECK(status.error().reason == Reason::bad_value);
        CHECK_FALSE(status.error().mend.empty());
        return status.error().where;
    };
    CHECK(refused({spool("A"), spool("A")}) == "spool A");
    CHECK(refused({spool("A"), spool("")}) == "spool number 2");
    for (const double size : {0.0, 0.04, 1.1, std::numeric_limits<double>::quiet_NaN()}) {
        Spool s = spool("S");
        s.size_mm = size;
        CHECK(refused({s}) == "spool S");
    }
    Spool unread = spool("U");
    unread.readings.clear();
    CHECK(refused({unread}) == "spool U");
    Spool misread = spool("M");
    misread.readings[0].lab.L = -3;
    CHECK(refused({misread}) == "spool M");
}

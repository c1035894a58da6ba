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

    s.readings.push_back({{53, 13, 13}, Matrix3::diagonal({0.1, 0.1, 0.1}), tube});
    CHECK(s.reading_for(door).lab.L == 51);
    CHECK(s.reading_for({}).lab.L == 53);  // no like one: the surest of all
}

TEST_CASE("readings of one kind are combined: noise averages out, what they share does not") {
    const ReadingContext door{"phone", "bench", "door"};
    const Matrix3 shared = Matrix3::diagonal({3, 3, 3}), whole = Matrix3::diagonal({4, 4, 4});
    Spool s = spool("N-104");
    s.readings = {{{50, 10, 10}, whole, door, shared}, {{51, 11, 9}, whole, door, shared}};
    const Reading both = s.reading_for(door);
    CHECK(both.lab.L == Approx(50.5));
    CHECK(both.context == door);
    // 3 shared, and half of the 1 that is not.
    CHECK(both.covariance(0, 0) == Approx(3.5).epsilon(1e-6));
    CHECK(both.shared(0, 0) == Approx(3).epsilon(1e-6));
    CHECK(validate(both));

    // Readings that scatter more than they say: sum of squares 3 * 2 * 5^2 over variance 1 and 3 degrees of freedom is 50.
    s.readings[1].lab = {60, 20, 20};
    const Reading apart = s.reading_for(door);
    CHECK(apart.covariance(0, 0) == Approx(3 + 50 * 0.5).epsilon(1e-3));
    CHECK(validate(apart));
}

TEST_CASE("very many readings of one spool are combined in no time, the newest of them") {
    const ReadingContext door{"phone", "bench", "door"};
    Spool s = spool("N-104");
    s.readings.assign(10'000, {{50, 10, 10}, Matrix3::identity(), door});
    for (std::size_t i = 9'900; i < s.readings.size(); ++i) s.readings[i].lab.L = 51;
    CHECK(s.reading_for(door).lab.L == Approx(51));
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

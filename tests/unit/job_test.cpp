#include "colour/job.hpp"

#include <catch2/catch.hpp>

using namespace bindhue;

TEST_CASE("A job takes the thread of its wraps, with ends and waste, spool by spool") {
    // 30 mm at a pitch of 0.15 on a 10 mm blank: 200 turns, 6.38 m (worked by hand: geometry), and two ends of 0.4 m.
    Job job;
    job.bands = {{"S1", Schedule::finish, {30, 10, 0.15, 0.15}, 2}, {"S1", {}, {30, 10, 0.15, 0.15}, 1}, {"", {}, {3, 10, 0.15, 0.15}, 4}};
    const Takes takes = bindhue::takes(job);
    REQUIRE(takes.metres.size() == 2);
    CHECK(takes.metres.at("S1") == Approx(1.2 * 3 * (6.377 + 0.8)).epsilon(1e-3));
    CHECK(takes.metres.at("") == Approx(1.2 * 4 * (0.6377 + 0.8)).epsilon(1e-3));
    // 3 of pi 10.3 mm 30 mm 0.15 mm, 4 of a tenth of it.
    CHECK(takes.film_ml == Approx(3.4 * 0.14561).epsilon(1e-3));
    job.one_guide = true;
    CHECK(bindhue::takes(job).metres.at("S1") == Approx(1.35 / 1.2 * takes.metres.at("S1")));
}

TEST_CASE("An underwrap takes thread from the spool that is said, wound close, and from none if none is said") {
    Job job;
    job.bands = {{"S1", Schedule::finish, {30, 10, 0.15, 0.15, 0.2}, 2, 0, "underwrap:U 7"}};
    CHECK(underwrap_spool(job.bands[0]) == "U 7");
    const Takes takes = bindhue::takes(job);
    REQUIRE(takes.metres.size() == 2);
    // 30 mm at 0.2 on a 10 mm blank: 150 turns of pi 10.2 mm, 4.807 m (worked by hand: geometry), and two ends of 0.4 m.
    CHECK(takes.metres.at("U 7") == Approx(1.2 * 2 * (4.807 + 0.8)).epsilon(1e-3));
    for (const char* ground : {"", "white", "blank", "18,0,0"}) {
        job.bands[0].ground = ground;
        CHECK(underwrap_spool(job.bands[0]).empty());
        CHECK(bindhue::takes(job).metres.size() == 1);
    }
}

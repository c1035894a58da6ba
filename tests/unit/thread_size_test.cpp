#include "colour/thread_size.hpp"

#include <catch2/catch.hpp>

using namespace bindhue;

// Common practice: 55 to 71 turns per cm are size A, 36 to 43 size D, 22 to 26 size EE.
TEST_CASE("the pitch of a wrap suggests its thread's size, the likeliest first, and neighbours where they overlap") {
    CHECK(likely_sizes(10.0 / 63).front() == "A");
    CHECK(likely_sizes(10.0 / 39.5).front() == "D");
    CHECK(likely_sizes(10.0 / 24).front() == "EE");
    CHECK(likely_sizes(0.115).front() == "00");
    const auto between = likely_sizes(0.19);
    CHECK(between.front() == "B");
    CHECK(between.size() > 1);
}

TEST_CASE("a pitch that no rod thread has suggests no size") {
    CHECK(likely_sizes(0.05).empty());
    CHECK(likely_sizes(0.7).empty());
    CHECK(likely_sizes(0.0).empty());
    CHECK(likely_sizes(-1.0).empty());
}

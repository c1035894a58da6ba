#include "colour/fluorescence.hpp"

#include <catch2/catch.hpp>

using namespace bindhue;

TEST_CASE("Only a colour as vivid as few plain surfaces may glow, and is in doubt for it towards grey and away") {
    const Lab<D50> chartreuse{86, -54, 67}, poppy{49, 57, 38};
    CHECK(may_glow(chartreuse));
    CHECK_FALSE(may_glow(poppy));
    CHECK(doubt_of_glow(poppy) == Vector3{});
    const Vector3 doubt = doubt_of_glow(chartreuse);
    CHECK(doubt[0] > 2);  // more of what is not grey: lighter, greener and yellower
    CHECK(doubt[1] < -2);
    CHECK(doubt[2] > 2);
}

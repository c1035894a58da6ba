#include "colour/quantile.hpp"

#include <catch2/catch.hpp>

using namespace bindhue;

TEST_CASE("A quantile is an element of the list, in whatever order it comes") {
    const std::vector<double> five{7, 1, 9, 3, 5};
    CHECK(quantile(five, 0) == 1);
    CHECK(quantile(five, 0.2) == 3);
    CHECK(median(five) == 5);
    CHECK(quantile(five, 0.99) == 9);
    CHECK(median({2, 1}) == 2);
    CHECK(median({4}) == 4);
}

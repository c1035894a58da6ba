#include "shop/band_table.hpp"

#include <catch2/catch.hpp>

using namespace bindhue::capture;

TEST_CASE("A list of wraps is read from a table") {
    const auto bands = read_band_table(
        "spool,width_mm,diameter_mm,pitch_mm,layers,count,ground\nR1-01,30,10,0.15,2,6,underwrap:R2-05\n,4,10,0.2,,,\n", "job.csv");
    REQUIRE(bands);
    REQUIRE(bands->size() == 2);
    CHECK(bands->at(0).spool == "R1-01");
    CHECK(bands->at(0).count == 6);
    CHECK(bands->at(0).ground == "underwrap:R2-05");
    CHECK(bands->at(1).ground.empty());
    CHECK(bands->at(0).winding.layers == 2);
    CHECK(bands->at(0).winding.thread_mm == 0.15);
    CHECK(bands->at(1).winding.thread_mm == 0.2);
}

TEST_CASE("A bad list of wraps is refused with its place") {
    for (const char* text :
         {"", "width_mm,diameter_mm\n30,10\n", "width_mm,diameter_mm,pitch_mm\n", "width_mm,diameter_mm,pitch_mm\n0,10,0.15\n",
          "width_mm,diameter_mm,pitch_mm\n30,10,\n", "width_mm,diameter_mm,pitch_mm\n,10,0.15\n",
          "width_mm,diameter_mm,pitch_mm\nnan,10,0.15\n", "width_mm,diameter_mm,pitch_mm\n30,10,2\n",
          "width_mm,diameter_mm,pitch_mm,count\n30,10,0.15,1.5\n",
          "width_mm,diameter_mm,pitch_mm,layers\n30,10,0.15,1e9\n",
          "width_mm,diameter_mm,pitch_mm,schedule\n30,10,0.15,varnish\n",
          "width_mm,diameter_mm,pitch_mm,ground\n30,10,0.15,mauve\n", "width_mm,diameter_mm,pitch_mm,ground\n30,10,0.15,underwrap:\n"}) {
        INFO(text);
        const auto bands = read_band_table(text, "job");
        REQUIRE_FALSE(bands);
        CHECK(bands.error().where.rfind("job", 0) == 0);
        CHECK_FALSE(bands.error().mend.empty());
    }
}

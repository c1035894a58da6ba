#include "shop/look_table.hpp"

#include <catch2/catch.hpp>

#include "support/source_dir.hpp"

using namespace bindhue;
using namespace bindhue::capture;

TEST_CASE("Looks that were asked for come from a table or from a reading") {
    const auto table = read_asked_looks("name,L,a,b,weight\ndoor,40,10,-5,3\nboat, 50 ,0,0,1\n", "asked.csv");
    REQUIRE(table);
    REQUIRE(table->size() == 2);
    CHECK(table->front().lab.b == -5);
    CHECK(table->front().weight == 3);
    CHECK(read_asked_looks("L,a,b\n40,10,-5\n", "asked.csv")->front().weight == 1);

    const auto reading = read_asked_looks(
        R"({"format":"bindhue-reading","version":1,"bands":[{"role":"blank","lab":[20,0,0]},
            {"role":"wrap","lab":[40,30,20]},{"role":"trim","lab":[70,0,50]}]})",
        "door.json");
    REQUIRE(reading);
    REQUIRE(reading->size() == 2);
    CHECK(reading->at(1).lab.b == 50);
}

TEST_CASE("An offer comes from a table or from a file of spools") {
    const auto table =
        read_offer("code,material,size_mm,L,a,b,name\nX1,silk,0.11,40,10,-5,Plum\n", "offer.csv");
    REQUIRE(table);
    CHECK(table->front().code == "X1");
    CHECK(table->front().material == Material::silk);
    CHECK(table->front().name == "Plum");
    CHECK(load_offer(in_source("palettes/demo-shop/spools.json"))->size() == 144);
}

TEST_CASE("A bad table of looks or of an offer is refused with its place, and nothing is taken from it") {
    for (const char* text : {"", "L,a\n1,2\n", "L,a,b\n", "L,a,b\n40,10\n", "L,a,b\n40,10,red\n", "L,a,b\n140,0,0\n",
                             "L,a,b\nnan,0,0\n", "L,a,b\ninf,0,0\n", "L,a,b,weight\n40,0,0,0\n",
                             "L,a,b,weight\n40,0,0,-1\n", "{", "{}", R"({"format":"other","version":1,"bands":[]})",
                             R"({"format":"bindhue-reading","version":1,"bands":[]})",
                             R"({"format":"bindhue-reading","version":1,"bands":7})",
                             R"({"format":"bindhue-reading","version":1,"bands":[{"role":"wrap"}]})",
                             R"({"format":"bindhue-reading","version":1,"bands":[{"role":"wrap","lab":[1,2]}]})",
                             R"({"format":"bindhue-reading","version":1,"bands":[{"role":"wrap","lab":[1,2,"x"]}]})"}) {
        INFO(text);
        const auto looks = read_asked_looks(text, "looks");
        REQUIRE_FALSE(looks);
        CHECK(looks.error().where.rfind("looks", 0) == 0);
        CHECK_FALSE(looks.error().mend.empty());
    }
    const std::string head = "code,material,size_mm,L,a,b\n";
    for (const std::string row :
         {"", ",nylon,0.15,40,0,0\n", "A,cotton,0.15,40,0,0\n", "A,nylon,15,40,0,0\n", "A,nylon,0.15,40,0\n",
          "A,nylon,0.15,40,0,0\nA,nylon,0.15,40,0,0\n", "A,nylon,,40,0,0\n", "A,nylon,0.15,-40,0,0\n"}) {
        INFO(row);
        const auto offer = read_offer(head + row, "offer");
        REQUIRE_FALSE(offer);
        CHECK(offer.error().where.rfind("offer", 0) == 0);
        CHECK_FALSE(offer.error().mend.empty());
    }
    CHECK(load_offer("/nowhere/offer.csv").error().reason == Reason::not_found);
}

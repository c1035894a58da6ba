#include "shop/formats.hpp"

#include <catch2/catch.hpp>
#include <fstream>

#include "shop/atomic_file.hpp"
#include "shop/coat_tests.hpp"
#include "shop/shop.hpp"
#include "shop/spool_file.hpp"
#include "support/source_dir.hpp"
#include "support/temporary_folder.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

const std::string older = *read_file(in_source("tests/fuzz/spools/full-version-1.json"));
const std::string newer = *read_file(in_source("tests/fuzz/spools/full.json"));

Json with(const std::string& text, const char* at, const Json& value) {
    Json json = *parse_json(text, "");
    json[Json::json_pointer(at)] = value;
    return json;
}

}  // namespace

TEST_CASE("A rack of version 1 is the same rack in version 2, unknown fields included") {
    const auto was = read_spool_file(older, "s.json"), is = read_spool_file(newer, "s.json");
    REQUIRE(was);
    REQUIRE(is);
    CHECK(*write_spool_file(*was) == *write_spool_file(*is));
    CHECK(was->entries[0].spool.readings[0].covariance(0, 1) == 0.01);

    Json strange = with(older, "/shelf", 3);
    for (const char* at : {"/spools/0/bought", "/spools/0/readings/0/operator", "/spools/0/past_readings/0/operator"}) strange[Json::json_pointer(at)] = at;
    const auto kept = read_spool_file(strange.dump(), "s.json");
    REQUIRE(kept);
    const Json after = *parse_json(*write_spool_file(*kept), "");
    CHECK(after["version"] == 2);
    CHECK(after["shelf"] == 3);
    for (const char* at : {"/spools/0/bought", "/spools/0/readings/0/operator", "/spools/0/past_readings/0/operator"})
        CHECK(after[Json::json_pointer(at)] == at);
}

TEST_CASE("What is wrong with a rack of version 1 is told with its place in version 1") {
    struct Case {
        const char* at;
        Json value;
        std::string where;
    };
    const Json sheared = Json::parse("[[1,0.5,0],[0,1,0],[0,0,1]]"), indefinite = Json::parse("[[1,2,0],[2,1,0],[0,0,1]]"),
               short_row = Json::parse("[[1,0,0],[0,1],[0,0,1]]"), a_word = Json::parse(R"([[1,0,0],[0,"x",0],[0,0,1]])");
    for (const Case& wrong : std::vector<Case>{{"/spools/0/readings/0/covariance", sheared, "spools[0].readings[0].covariance"},
                                               {"/spools/0/readings/0/covariance", indefinite, "spools[0].readings[0].covariance"},
                                               {"/spools/0/readings/0/covariance", short_row, "spools[0].readings[0].covariance[1]"},
                                               {"/spools/0/past_readings/0/shared", a_word, "spools[0].past_readings[0].shared[1][1]"},
                                               {"/spools/0/readings/0/covariance", 5, "spools[0].readings[0].covariance"},
                                               {"/spools/0/readings", "x", "spools[0].readings"},
                                               {"/spools/0", "x", "spools[0]"},
                                               {"/spools", 5, "spools"},
                                               {"/spools/0/material", "wool", "spools[0].material"}}) {
        INFO(wrong.at << " " << wrong.value.dump());
        const auto read = read_spool_file(with(older, wrong.at, wrong.value).dump(), "s.json");
        REQUIRE_FALSE(read);
        CHECK(read.error().where == "s.json: " + wrong.where);
        CHECK_FALSE(read.error().mend.empty());
    }
    // Version 2's covariance in a file of version 1 is none, nor the other way round.
    CHECK_FALSE(read_spool_file(with(older, "/spools/0/readings/0/covariance", Json::parse("[1,1,1,0,0,0]")).dump(), "s.json"));
    CHECK_FALSE(read_spool_file(with(newer, "/spools/0/readings/0/covariance", Json::parse("[[1,0,0],[0,1,0],[0,0,1]]")).dump(), "s.json"));
}

TEST_CASE("Coat tests of version 1 are the same tests in version 2") {
    const char* const text = R"({"format":"bindhue-coat-tests","version":1,"shelf":3,"tests":[{"material":"nylon","schedule":"finish","size_mm":0.15,
        "ground":[18,0,1],"dry":[45,50,30],"finished":[20,35,21],"finished_covariance":[[1,0.1,0],[0.1,2,0.3],[0,0.3,2]],"humidity":55}]})";
    const auto read = read_coat_tests(text, "c.json");
    REQUIRE(read);
    CHECK(read->entries[0].test.finished_covariance(1, 2) == 0.3);
    const Json after = *parse_json(*write_coat_tests(*read), "");
    CHECK(after["version"] == 2);
    CHECK(after["shelf"] == 3);
    CHECK(after["tests"][0]["humidity"] == 55);
    CHECK(after["tests"][0]["finished_covariance"].dump() == "[1.0,2.0,2.0,0.1,0.0,0.3]");
}

TEST_CASE("A shop of version 1 is read as it is, and its first change writes version 2 and keeps the older file") {
    const TemporaryFolder folder;
    std::ofstream(folder.path / "spools.json") << older;
    const auto shop = Shop::open(folder.path, Access::change);
    REQUIRE(shop);
    auto rack = shop->spools();
    REQUIRE(rack);
    CHECK(*read_file(folder.path / "spools.json") == older);
    rack->entries[0].metres_left = 12;
    REQUIRE(shop->save(*rack));
    CHECK(*version_in(*read_file(folder.path / "spools.json"), "", spools_format) == 2);
    CHECK(*read_file(folder.path / "spools.json.version-1") == older);
    CHECK(shop->spools()->entries[0].metres_left == 12);
}

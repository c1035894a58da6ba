#include "shop/coat_tests.hpp"

#include <catch2/catch.hpp>

using namespace bindhue;
using namespace bindhue::capture;
using Catch::Matchers::Contains;

namespace {

const std::string head =
    "material,size_mm,schedule,ground_L,ground_a,ground_b,dry_L,dry_a,dry_b,finished_L,finished_a,finished_b\n";

std::string refused(const std::string& text) {
    const auto table = read_coat_table(text, "t.csv");
    REQUIRE_FALSE(table);
    CHECK_FALSE(table.error().mend.empty());
    return table.error().where + " | " + table.error().what;
}

}  // namespace

TEST_CASE("The finish product, build and coats of a coat test come from a table, go into the file and come back") {
    const std::string with_finish = "material,size_mm,schedule,ground_L,ground_a,ground_b,dry_L,dry_a,dry_b,finished_L,finished_a,finished_b,product,build,coats\n",
                      line = "nylon,0.15,finish,18,0,0,45,50,30,25,36,19,";
    const auto read = read_coat_table(with_finish + line + "Mill Pond,high,3\n" + line + ",,\n", "tests.csv");
    REQUIRE(read);
    REQUIRE(read->size() == 2);
    CHECK((*read)[0].test.finish == FinishUse{"Mill Pond", Build::high, 3});
    CHECK((*read)[1].test.finish == FinishUse{});
    const auto text = write_coat_tests({*read, {}});
    REQUIRE(text);
    const auto again = read_coat_tests(*text, "coat-tests.json");
    REQUIRE(again);
    CHECK(again->entries[0].test.finish == (*read)[0].test.finish);
    CHECK(again->entries[1].test.finish == FinishUse{});
    CHECK(again->entries[0].unknown.empty());
    for (const char* bad : {"x,tall,3\n", "x,thin,0\n", "x,thin,2.5\n", "x,thin,many\n"}) {
        CAPTURE(bad);
        const auto no = read_coat_table(with_finish + line + bad, "tests.csv");
        REQUIRE_FALSE(no);
        CHECK_FALSE(no.error().mend.empty());
    }
}

TEST_CASE("Coat tests are read from a table and kept in a file with what it does not know") {
    const auto table = read_coat_table(head + "nylon,0.15,preserver+finish,18,0,1,45.5,50,30,43,48,29\n", "t.csv");
    REQUIRE(table);
    REQUIRE(table->size() == 1);
    const CoatTest& test = table->front().test;
    CHECK(test.schedule == Schedule::preserver_finish);
    CHECK(test.dry.L == 45.5);
    CHECK(test.finished.b == 29);
    CoatTestFile file{*table, ""};
    file.entries[0].unknown = R"({"humidity": 55})";
    const auto text = write_coat_tests(file);
    REQUIRE(text);
    const auto back = read_coat_tests(*text, "coat-tests.json");
    REQUIRE(back);
    CHECK(*write_coat_tests(*back) == *text);
    CHECK_THAT(*text, Contains("humidity"));
}

TEST_CASE("A bad coat test is named by line and column, and water teaches nothing") {
    CHECK_THAT(refused(head + "wool,0.15,finish,18,0,1,45,50,30,43,48,29\n"), Contains("line 2, column material"));
    CHECK_THAT(refused(head + "nylon,0.15,varnished,18,0,1,45,50,30,43,48,29\n"), Contains("line 2, column schedule"));
    CHECK_THAT(refused(head + "nylon,0.15,finish,18,0,1,45,50,30,43,48,29\nnylon,0.15,finish,18,0,1,45,50,30,143,48,29\n"),
               Contains("line 3, column finished_L"));
    CHECK_THAT(refused("material,size_mm\nnylon,0.15\n"), Contains("schedule"));
    const std::string wet = head.substr(0, head.size() - 1) + ",water\n";
    CHECK_THAT(refused(wet + "nylon,0.15,finish,18,0,1,45,50,30,43,48,29,yes\n"), Contains("water"));
    CHECK(read_coat_table(wet + "nylon,0.15,finish,18,0,1,45,50,30,43,48,29,no\n", "t.csv"));
    for (const char* bad : {"", "{}", "[]", R"({"format":"bindhue-coat-tests","version":1,"tests":[{}]})",
                            R"({"format":"bindhue-coat-tests","version":1,"tests":[{"material":"nylon","schedule":"finish","size_mm":9}]})"})
        CHECK_FALSE(read_coat_tests(bad, "coat-tests.json"));
}

#include "shop/csv.hpp"

#include <catch2/catch.hpp>

using namespace bindhue;
using namespace bindhue::capture;
using Catch::Matchers::Contains;

namespace {

std::string refused(std::string_view text) {
    const auto table = read_csv(text, "t.csv");
    REQUIRE_FALSE(table);
    CHECK_FALSE(table.error().mend.empty());
    return table.error().where + " | " + table.error().what;
}

}  // namespace

TEST_CASE("Quotes, commas, line ends and doubled quotes inside a quoted field are part of it (RFC 4180)") {
    const auto table = read_csv("name,n\r\n\"red, dark\r\n\"\"wine\"\"\",1\r\nplain,2\r\n", "t.csv");
    REQUIRE(table);
    REQUIRE(table->rows() == 2);
    CHECK(table->text(0, "name") == "red, dark\r\n\"wine\"");
    CHECK(*table->number(1, "n", 0, 9) == 2);
    // The quoted line end counts as a line.
    CHECK(table->error(1, "n", "", "").where == "t.csv: line 4, column n");
}

TEST_CASE("A byte order mark, every kind of line end, empty lines and a missing last one are no matter") {
    for (const std::string end : {"\n", "\r\n", "\r"}) {
        const auto table =
            read_csv("\xEF\xBB\xBF" + std::string(" x , y") + end + end + "1,2" + end + "3, 4 ", "t.csv");
        REQUIRE(table);
        REQUIRE(table->rows() == 2);
        CHECK(*table->number(1, "y", 0, 9) == 4);
        CHECK(table->error(1, "y", "", "").where == "t.csv: line 4, column y");
    }
}

TEST_CASE("Names of columns are case-sensitive, for B is blue and b a coordinate") {
    const auto table = read_csv("B,b\n1,2\n", "t.csv");
    REQUIRE(table);
    CHECK(*table->number(0, "B", 0, 9) == 1);
    CHECK(*table->number(0, "b", 0, 9) == 2);
    const auto missing = table->require({"B", "g", "r"});
    REQUIRE_FALSE(missing);
    CHECK(missing.error().what == "The heading lacks g, r.");
}

TEST_CASE("Numbers are read whole or not at all") {
    const auto table = read_csv("n\n1e-2\n+3\n-4.5\n1.5x\nnan\ninf\n\"0,5\"\n1e999\n\" \"\n0x10\n", "t.csv");
    REQUIRE(table);
    CHECK(*table->number(0, "n", -9, 9) == 0.01);
    CHECK(*table->number(1, "n", -9, 9) == 3);
    CHECK(*table->number(2, "n", -9, 9) == -4.5);
    for (std::size_t row = 3; row < table->rows(); ++row) {
        const auto number = table->number(row, "n", -1e300, 1e300);
        INFO("row " << row);
        REQUIRE_FALSE(number);
        CHECK_THAT(number.error().where, Contains("column n"));
    }
    const auto high = table->number(1, "n", 0, 1);
    REQUIRE_FALSE(high);
    CHECK(high.error().what == "3 is out of range.");
    CHECK(high.error().mend == "Give a number from 0 to 1.");
}

TEST_CASE("Where semicolons or tabs separate, numbers may have a decimal comma") {
    const auto table = read_csv("x;text;y\n1,5;red, dark;-0,25\n2.5;;3\n", "t.csv");
    REQUIRE(table);
    CHECK(*table->number(0, "x", 0, 9) == 1.5);
    CHECK(*table->number(0, "y", -1, 9) == -0.25);
    CHECK(table->text(0, "text") == "red, dark");
    CHECK(*table->number(1, "x", 0, 9) == 2.5);
    const auto tabs = read_csv("x\ty\n1,5\t2\n", "t.csv");
    REQUIRE(tabs);
    CHECK(*tabs->number(0, "x", 0, 9) == 1.5);
    // A thousands' comma is no decimal one.
    CHECK_FALSE(read_csv("x;y\n1,000,5;2\n", "t.csv")->number(0, "x", 0, 9999));
}

TEST_CASE("A table too large to be held is refused with the line where it becomes so") {
    std::string heading = "c0", line = "1";
    for (int i = 1; i < 1000; ++i) heading.append(",c").append(std::to_string(i)), line += ",1";
    std::string text = heading + "\n";
    for (int i = 0; i < 8001; ++i) text += line + "\n";
    const auto table = read_csv(text, "t.csv");
    REQUIRE_FALSE(table);
    CHECK(table.error().where == "t.csv: line 8002");
    CHECK_FALSE(table.error().mend.empty());
}

TEST_CASE("A table that does not follow its format is refused with the line") {
    CHECK_THAT(refused("a,b\n1,2\n3\n"), Contains("t.csv: line 3 | The line has 1 fields, the heading 2."));
    CHECK_THAT(refused("a,b\n1,\"2\n3,4\n"), Contains("line 2 | A quoted field is not closed"));
    CHECK_THAT(refused("a,b\n1,2\"x\"\n"), Contains("line 2 | A quote stands inside"));
    CHECK_THAT(refused("a,b\n1,\"2\"x\n"), Contains("line 2 | Something follows"));
    CHECK_THAT(refused("a,a\n1,2\n"), Contains("line 1 | The column \"a\" is there twice"));
    CHECK_THAT(refused(std::string_view("a,b\n1,\0\n", 8)), Contains("not plain text"));
    CHECK_THAT(refused("a,b\n"), Contains("no line under its heading"));
    CHECK_THAT(refused(""), Contains("no line under its heading"));
    CHECK_THAT(refused(std::string(5000, ',')), Contains("more than 1000 columns"));
}

#include "sheet/swatch.hpp"

#include <catch2/catch.hpp>

using namespace bindhue;
using namespace bindhue::capture;

TEST_CASE("A swatch is a patch of background colour, or nothing without colour") {
    CHECK(swatch({100, 0, 0}, true) == "\x1b[48;2;255;255;255m    \x1b[0m");
    CHECK(swatch({0, 0, 0}, true) == "\x1b[48;2;0;0;0m    \x1b[0m");
    CHECK(swatch({50, 500, 0}, true).find("m    \x1b[0m") != std::string::npos);
    CHECK(swatch({100, 0, 0}, false).empty());
}

TEST_CASE("The width on a terminal counts what is seen") {
    CHECK(width_on_terminal("") == 0);
    CHECK(width_on_terminal("olive") == 5);
    CHECK(width_on_terminal("gr\u00fcn") == 4);
    CHECK(width_on_terminal("gru\u0308n") == 4);
    CHECK(width_on_terminal("\u7eff\u8272") == 4);
    CHECK(width_on_terminal(swatch({50, 10, 10}, true)) == 4);
    CHECK(width_on_terminal("\xff\xc3") == 2);
}

TEST_CASE("Columns align, numbers to the right, and an empty column without heading is left out") {
    Table table({"spool", "", "name", "dE"});
    table.add({"Q-1", "", "gr\u00fcn", "0.7"});
    table.add({"Q-12", "", "tide green", "12.0"});
    CHECK(table.text() ==
          "spool  name          dE\n"
          "Q-1    gr\u00fcn         0.7\n"
          "Q-12   tide green  12.0\n");
}

TEST_CASE("A column of swatches aligns with its heading left empty") {
    Table table({"spool", "", "dE"});
    const std::string grey = swatch({50, 0, 0}, true);
    table.add({"Q-1", grey, "0.7"});
    CHECK(table.text() == "spool         dE\nQ-1    " + grey + "  0.7\n");
}

TEST_CASE("A name from a file cannot steer the terminal") {
    Table table({"name"});
    table.add({"\x1b[2Jred"});
    table.add({"a\r\nb\x07\xc2\x9b"});
    table.add(
        {"\xe2\x80\xae"
         "abc\xff"});
    table.add({"\x1b[48;2;1;2;3;4;5;6;7;8;9m"});
    CHECK(table.text() == "name\n?[2Jred\na??b??\n?abc?\n?[48;2;1;2;3;4;5;6;7;8;9m\n");
}

TEST_CASE("Rows shorter or longer than the headings are fitted to them") {
    Table table({"a", "b"});
    table.add({"1"});
    table.add({"1", "2", "3"});
    CHECK(table.text() == "a  b\n1\n1  2\n");
}

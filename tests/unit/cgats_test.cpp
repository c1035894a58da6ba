#include "shop/cgats.hpp"

#include <lcms2.h>

#include <array>
#include <catch2/catch.hpp>
#include <memory>
#include <vector>

using namespace bindhue::capture;
using Catch::Matchers::Contains;

namespace {

const std::string head = "CGATS.17\nORIGINATOR \"a shop\"\nBEGIN_DATA_FORMAT\nSAMPLE_ID LAB_L LAB_A LAB_B\nEND_DATA_FORMAT\n";

std::string refused(const std::string& text) {
    const auto tables = read_cgats(text, "t.txt");
    REQUIRE_FALSE(tables);
    CHECK_FALSE(tables.error().mend.empty());
    return tables.error().where + " | " + tables.error().what;
}

}  // namespace

TEST_CASE("A code of digits, an exponent, empty and quoted texts, and sets over several lines are read as they stand") {
    const auto tables = read_cgats(head + "BEGIN_DATA # comment\n0123 1e-3 45.12345678901234 -2\r\n001-02 '5' \"a # b\"\n \"\"\nEND_DATA\n", "t.txt");
    REQUIRE(tables);
    REQUIRE(tables->size() == 1);
    const CsvTable& sets = tables->front().sets;
    REQUIRE(sets.rows() == 2);
    CHECK(sets.text(0, "SAMPLE_ID") == "0123");
    CHECK(*sets.number(0, "LAB_L", 0, 1) == 0.001);
    CHECK(*sets.number(0, "LAB_A", 0, 100) == 45.12345678901234);
    CHECK(sets.text(1, "SAMPLE_ID") == "001-02");
    CHECK(sets.text(1, "LAB_A") == "a # b");
    CHECK(sets.text(1, "LAB_B").empty());
    CHECK(tables->front().keyword("ORIGINATOR") == "a shop");
    CHECK(sets.number(1, "LAB_A", 0, 1).error().where == "t.txt: line 8, column LAB_A");
}

TEST_CASE("A file that Little CMS writes is read with the same values") {
    // Little CMS 2, cmscgats.c: an implementation that is not ours.
    const std::unique_ptr<void, void (*)(void*)> it8(cmsIT8Alloc(nullptr), cmsIT8Free);
    REQUIRE(it8);
    cmsIT8SetPropertyStr(it8.get(), "ORIGINATOR", "Little CMS");
    cmsIT8SetPropertyStr(it8.get(), "DESCRIPTOR", "it's a test");
    cmsIT8SetPropertyDbl(it8.get(), "NUMBER_OF_FIELDS", 4);
    cmsIT8SetPropertyDbl(it8.get(), "NUMBER_OF_SETS", 50);
    const std::array<const char*, 4> fields{"SAMPLE_ID", "LAB_L", "LAB_A", "LAB_B"};
    for (int k = 0; k < 4; ++k) cmsIT8SetDataFormat(it8.get(), k, fields[static_cast<std::size_t>(k)]);
    for (int row = 0; row < 50; ++row) {
        cmsIT8SetDataRowCol(it8.get(), row, 0, ("dark red " + std::to_string(row)).c_str());
        for (int k = 1; k < 4; ++k) cmsIT8SetDataRowColDbl(it8.get(), row, k, (row - 20) * k / 7.0);
    }
    cmsUInt32Number size = 0;
    REQUIRE(cmsIT8SaveToMem(it8.get(), nullptr, &size));
    std::string text(size, ' ');
    REQUIRE(cmsIT8SaveToMem(it8.get(), text.data(), &size));
    text.resize(std::char_traits<char>::length(text.c_str()));

    CHECK(looks_like_cgats(text));
    const auto tables = read_cgats(text, "t.txt");
    REQUIRE(tables);
    CHECK(tables->front().keyword("DESCRIPTOR") == "it's a test");
    const CsvTable& sets = tables->front().sets;
    REQUIRE(sets.rows() == 50);
    for (std::size_t row = 0; row < 50; ++row) {
        CHECK(sets.text(row, "SAMPLE_ID") == "dark red " + std::to_string(row));
        // It writes ten digits.
        for (const char* field : {"LAB_L", "LAB_A", "LAB_B"})
            CHECK(*sets.number(row, field, -100, 100) == Approx(cmsIT8GetDataRowColDbl(it8.get(), static_cast<int>(row), cmsIT8FindDataFormat(it8.get(), field))).epsilon(1e-9).margin(1e-12));
    }
}

TEST_CASE("A later table takes over fields and keywords that it does not give anew") {
    const auto tables = read_cgats(head + "BEGIN_DATA\nA 1 2 3\nEND_DATA\nORIGINATOR \"another\"\nNUMBER_OF_SETS 1\nBEGIN_DATA\nB 4 5 6\nEND_DATA\n", "t.txt");
    REQUIRE(tables);
    REQUIRE(tables->size() == 2);
    CHECK(tables->at(0).keyword("ORIGINATOR") == "a shop");
    CHECK(tables->at(1).keyword("ORIGINATOR") == "another");
    CHECK(tables->at(1).sets.text(0, "LAB_B") == "6");
}

TEST_CASE("What is no UTF-8 is taken for ISO 8859-1") {
    const auto tables = read_cgats("CGATS.17\nOBSERVER_ANGLE \"2\xB0\"\n" + head.substr(9) + "BEGIN_DATA\n\"Ros\xE9\" 1 2 3\nEND_DATA\n", "t.txt");
    REQUIRE(tables);
    CHECK(tables->front().keyword("OBSERVER_ANGLE") == "2\xC2\xB0");
    CHECK(tables->front().sets.text(0, "SAMPLE_ID") == "Ros\xC3\xA9");
}

TEST_CASE("CGATS is known by what it is") {
    CHECK(looks_like_cgats(head));
    CHECK(looks_like_cgats("\xEF\xBB\xBF\n# comment\nISO28178\n"));
    CHECK(looks_like_cgats("IT8.7/2\n"));
    CHECK(looks_like_cgats("ORIGINATOR \"x\"\n begin_data_format\t\n"));
    CHECK_FALSE(looks_like_cgats(""));
    CHECK_FALSE(looks_like_cgats("code,material,size_mm,L,a,b\nBEGIN_DATA_FORMAT,nylon,0.15,1,1,1\n"));
    CHECK_FALSE(looks_like_cgats("CGATS.17,code\n1,2\n"));
    CHECK_FALSE(looks_like_cgats("{\"format\":\"bindhue-spools\"}"));
}

TEST_CASE("A CGATS file with anything wrong in it is refused with its line") {
    const std::string one = "BEGIN_DATA\nA 1 2 3\nEND_DATA\n";
    CHECK_THAT(refused(""), Contains("no data"));
    CHECK_THAT(refused(head), Contains("no data"));
    CHECK_THAT(refused(head + "BEGIN_DATA\nA 1 2 3\n"), Contains("line 6 | END_DATA is missing"));
    CHECK_THAT(refused(head + "BEGIN_DATA\nEND_DATA\n"), Contains("line 6 | There are no data"));
    CHECK_THAT(refused(head + "BEGIN_DATA\nA 1 2\nB 1 2 3\nEND_DATA\n"), Contains("line 7 | The set"));
    CHECK_THAT(refused(head + "BEGIN_DATA\nA 1 2 3 4\nB 1 2 3\nEND_DATA\n"), Contains("line 7 | The set"));
    CHECK_THAT(refused(head + "BEGIN_DATA\nA 1 2\nEND_DATA\n"), Contains("line 7 | The set"));
    CHECK_THAT(refused(head + "BEGIN_DATA\n\"A 1 2 3\nEND_DATA\n"), Contains("line 7 | A quoted text is not closed"));
    CHECK_THAT(refused(head + "BEGIN_DATA\nA\"B 1 2 3\nEND_DATA\n"), Contains("line 7 | A quote stands inside"));
    CHECK_THAT(refused(head + "BEGIN_DATA\n\"A\"B 1 2 3\nEND_DATA\n"), Contains("line 7 | Something follows"));
    CHECK_THAT(refused(head + "NUMBER_OF_SETS 2\n" + one), Contains("NUMBER_OF_SETS is 2, but there are 1"));
    CHECK_THAT(refused(head + "NUMBER_OF_FIELDS 5\n" + one), Contains("line 3 | NUMBER_OF_FIELDS is 5, but 4"));
    CHECK_THAT(refused(head + "NUMBER_OF_SETS -1\n" + one), Contains("line 6 | NUMBER_OF_SETS is no whole number"));
    CHECK_THAT(refused("CGATS.17\n.INCLUDE \"/etc/passwd\"\n" + head + one), Contains("line 2 | Another file"));
    CHECK_THAT(refused("CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID LAB_L lab_l\nEND_DATA_FORMAT\n" + one), Contains("line 3 | The field \"LAB_L\" is there twice"));
    CHECK_THAT(refused("CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID\n" + one), Contains("line 2 | END_DATA_FORMAT is missing"));
    CHECK_THAT(refused("CGATS.17\n" + one), Contains("line 2 | The fields"));
    CHECK_THAT(refused("CGATS.17\nEND_DATA\n"), Contains("line 2 | END_DATA ends"));
    CHECK_THAT(refused("CGATS.17\n\"x\"\n"), Contains("line 2 | A value stands"));
    CHECK_THAT(refused(std::string("CGATS.17\n\0", 10)), Contains("plain text"));
    std::string many = "CGATS.17\n";
    for (int i = 0; i < 60'000; ++i) many += "KEYWORD \"X\"\n";
    CHECK_THAT(refused(many), Contains("1 MiB"));
}

TEST_CASE("A text is quoted so that it comes back, or refused") {
    for (const std::string text : {"", "plain", "it's", "a \"b\" c", "a\tb", "# x", "Ros\xC3\xA9"}) {
        const auto quoted = cgats_quoted(text);
        REQUIRE(quoted);
        const auto tables = read_cgats(head + "BEGIN_DATA\n" + *quoted + " 1 2 3\nEND_DATA\n", "t.txt");
        REQUIRE(tables);
        CHECK(tables->front().sets.text(0, "SAMPLE_ID") == text);
    }
    for (const std::string text : {"it's \"b\"", "two\nlines", "\x01"}) CHECK_FALSE(cgats_quoted(text));
}

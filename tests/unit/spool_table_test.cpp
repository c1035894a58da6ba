#include "shop/spool_table.hpp"

#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <random>
#include <sstream>

#include "shop/atomic_file.hpp"
#include "support/source_dir.hpp"

using namespace bindhue;
using namespace bindhue::capture;
using Catch::Matchers::Contains;

namespace {

const std::filesystem::path palettes = in_source("palettes");

std::string refused(const std::string& text) {
    const auto table = read_spool_table(text, "t.csv");
    REQUIRE_FALSE(table);
    CHECK_FALSE(table.error().mend.empty());
    return table.error().where + " | " + table.error().what;
}

}  // namespace

TEST_CASE("The import example is read: semicolons, decimal commas, two readings of one spool") {
    const auto text = read_file(palettes / "import-example.csv");
    REQUIRE(text);
    const auto table = read_spool_table(*text, "import-example.csv");
    REQUIRE(table);
    REQUIRE(table->entries.size() == 3);
    CHECK(table->warnings.empty());
    const SpoolEntry& rowan = table->entries[1];
    CHECK(rowan.spool.code == "N-02");
    REQUIRE(rowan.spool.readings.size() == 2);
    CHECK(rowan.spool.readings[1].lab.a == 52.4);
    CHECK(rowan.spool.readings[0].covariance(2, 2) == 0.25);
    CHECK(rowan.metres_left == 55.0);
    CHECK(table->entries[2].spool.size_mm == 0.10);
    CHECK_FALSE(table->entries[2].metres_left);
}

TEST_CASE("A rack written as a table and read back is the same to the last digit") {
    auto rack = load_spool_file(palettes / "demo-shop" / "spools.json");
    REQUIRE(rack);
    // Numbers that no short decimal holds, and texts that need quotes.
    std::mt19937 random(5);
    std::uniform_real_distribution<double> part(0, 1);
    for (SpoolEntry& e : rack->entries) {
        e.spool.name += ", \"dark\"; deep";
        e.metres_left = part(random) / 3;
        Reading& r = e.spool.readings[0];
        r.lab.a += part(random) / 7;
        r.covariance = Matrix3::diagonal({part(random) + 0.1, part(random) + 0.1, part(random) + 0.1});
        r.covariance(0, 1) = r.covariance(1, 0) = 0.01 * part(random);
        r.shared = 0.3 * r.covariance;
        r.context = {"phone", "bench card, second print", "door"};
        e.past.push_back({r, {"photo", "2025-11-01", ""}});
        e.past.back().reading.lab.b += part(random) / 7;
    }
    const auto back = read_spool_table(write_spool_table(*rack), "back.csv");
    REQUIRE(back);
    SpoolFile again = *rack;
    again.entries = back->entries;
    CHECK(*write_spool_file(again) == *write_spool_file(*rack));
}

TEST_CASE("Hue and chroma, and colours of a screen, are taken, the latter with a warning") {
    const auto polar = read_spool_table("h,C,L,code,size_mm,material\n90,30,50,A,0.15,silk\n", "t.csv");
    REQUIRE(polar);
    CHECK(polar->entries[0].spool.readings[0].lab.a == Approx(0).margin(1e-9));
    CHECK(polar->entries[0].spool.readings[0].lab.b == Approx(30));
    const auto screen = read_spool_table("code,size_mm,material,hex\nA,0.15,silk,#FFFFFF\n", "t.csv");
    REQUIRE(screen);
    // IEC 61966-2-1: white is (1, 1, 1), whatever the adaptation.
    CHECK(screen->entries[0].spool.readings[0].lab.L == Approx(100).margin(0.01));
    CHECK(screen->entries[0].spool.readings[0].lab.b == Approx(0).margin(0.01));
    REQUIRE(screen->warnings.size() == 1);
    CHECK_THAT(screen->warnings[0], Contains("no measurements"));
}

TEST_CASE("What is wrong in a table is named by line and column") {
    const std::string head = "code,material,size_mm,L,a,b\n";
    CHECK_THAT(refused(head + "A,nylon,0.15,50,0,0\nB,wool,0.15,50,0,0\n"), Contains("line 3, column material"));
    CHECK_THAT(refused(head + "A,nylon,15,50,0,0\n"), Contains("line 2, column size_mm"));
    CHECK_THAT(refused(head + "A,nylon,0.15,50,,0\n"), Contains("line 2, column a"));
    CHECK_THAT(refused(head + ",nylon,0.15,50,0,0\n"), Contains("line 2, column code"));
    CHECK_THAT(refused(head + "A,nylon,0.15,50,0,0\nA,silk,0.15,50,0,0\n"), Contains("line 3, column material"));
    CHECK_THAT(refused("code,material,size_mm,hex\nA,nylon,0.15,#12345g\n"), Contains("line 2, column hex"));
    CHECK_THAT(refused("code,material\nA,nylon\n"), Contains("size_mm"));
    CHECK_THAT(refused("code,material,size_mm,L,a,b,hex\nA,nylon,0.15,50,0,0,#12345g\n"), Contains("line 2, column hex"));
    CHECK_THAT(refused("code,material,size_mm,L,a,b,past\nA,nylon,0.15,50,0,0,perhaps\n"), Contains("line 2, column past"));
    CHECK_THAT(refused("code,material,size_mm,L,a,b,past\nA,nylon,0.15,50,0,0,yes\n"), Contains("All readings of spool A are past"));
    CHECK_THAT(refused("code,material,size_mm,L,a,b,var_L,var_a,var_b\nA,nylon,0.15,50,0,0,-1,1,1\n"),
               Contains("line 2, column var_L"));
    CHECK_THAT(refused("code,material,size_mm,L,a,b,var_L\nA,nylon,0.15,50,0,0,1\n"), Contains("line 2, column var_a"));
    CHECK_THAT(refused("code,material,size_mm,L,a\nA,nylon,0.15,50,0\n"), Contains("line 2, column b | There is no such column"));
    CHECK_THAT(refused("code,material,size_mm,L,C\nA,nylon,0.15,50,0\n"), Contains("line 2, column h | There is no such column"));
    CHECK_THAT(refused("code,material,size_mm,a,b\nA,nylon,0.15,50,0\n"), Contains("line 2, column L | There is no such column"));
    CHECK_THAT(refused("code,material,size_mm,L\nA,nylon,0.15,50\n"), Contains("line 2, column a"));
    CHECK_THAT(refused(head + "\xe9,nylon,0.15,50,0,0\n"), Contains("line 2 | Field 1 is not valid UTF-8"));
    CHECK_THAT(refused(head), Contains("line 2 | The table has no line"));
}

TEST_CASE("Lines that say different things of one spool are refused, and a silent line is filled in") {
    const std::string head = "code,material,size_mm,L,a,b,name,lot,metres_left\n", first = "A,nylon,0.15,50,0,0,Red,7,10\n";
    CHECK_THAT(refused(head + first + "A,nylon,0.15,51,0,0,Red,8,10\n"), Contains("line 3, column lot"));
    CHECK_THAT(refused(head + first + "A,nylon,0.15,51,0,0,Rust,7,10\n"), Contains("line 3, column name"));
    CHECK_THAT(refused(head + first + "A,nylon,0.15,51,0,0,Red,7,90\n"), Contains("line 3, column metres_left"));
    const auto table = read_spool_table(head + "A,nylon,0.15,49,0,0,,,\n" + first + "A,nylon,0.15,51,0,0,,,\n", "t.csv");
    REQUIRE(table);
    REQUIRE(table->entries.size() == 1);
    CHECK(table->entries[0].spool.readings.size() == 3);
    CHECK(table->entries[0].spool.lot == "7");
    CHECK(table->entries[0].metres_left == 10.0);
}

TEST_CASE("A column that is not known is told") {
    const auto table = read_spool_table("code,material,size_mm,L,a,b,Sd\nA,nylon,0.15,50,0,0,0.2\n", "t.csv");
    REQUIRE(table);
    REQUIRE(table->warnings.size() == 1);
    CHECK_THAT(table->warnings[0], Contains("\"Sd\" is not known"));
}

TEST_CASE("A rack that could not be read back is not written") {
    const auto table = read_spool_table("code,material,size_mm,L,a,b\nA,nylon,0.15,50,0,0\n", "t.csv");
    REQUIRE(table);
    SpoolFile rack;
    rack.entries = table->entries;
    rack.entries[0].spool.readings.resize(10'000, rack.entries[0].spool.readings[0]);
    const auto most = write_spool_file(rack);
    REQUIRE(most);
    CHECK(read_spool_file(*most, "spools.json"));
    rack.entries[0].spool.readings.push_back(rack.entries[0].spool.readings[0]);
    const auto over = write_spool_file(rack);
    REQUIRE_FALSE(over);
    CHECK(over.error().where == "spool A");
    rack.entries[0].spool.readings.resize(1);
    rack.note.assign(std::size_t{64} << 20, 'x');
    CHECK_FALSE(write_spool_file(rack));
}

TEST_CASE("Of 300 broken tables each is refused with a place") {
    const auto good = read_file(palettes / "import-example.csv");
    REQUIRE(good);
    std::mt19937 random(20261126);
    const auto upto = [&](std::size_t n) { return std::uniform_int_distribution<std::size_t>(0, n - 1)(random); };
    std::vector<std::string> lines;
    std::istringstream in(*good);
    for (std::string line; std::getline(in, line);) lines.push_back(line);
    const std::vector<std::string> rubbish{"x", "", "1e999", "nan", "-5", "\"", "9,9,9", "0x10", "--1", "1 2"};
    int broken = 0;
    while (broken < 300) {
        std::vector<std::string> copy = lines;
        std::string& line = copy[1 + upto(copy.size() - 1)];
        switch (broken % 5) {
            case 0: {  // a number that is none
                const auto start = line.find(";0,1") + 1;
                line.replace(start, line.find(';', start) - start, rubbish[upto(rubbish.size())]);
                break;
            }
            case 1:  // a field too many or too few
                line.insert(upto(line.size()), ";");
                break;
            case 2:  // a line cut off before its colour is whole
                line = line.substr(0, upto(line.find(";0,1")));
                if (line.empty()) line = "N-09";
                break;
            case 3:  // a material that there is not
                line.replace(line.find(line[0] == 'S' ? "silk" : "nylon"), 4, std::string(1 + upto(9), 'q'));
                break;
            default: {  // a heading that lacks what is needed
                const std::string name = std::vector<std::string>{"code", "material", "size_mm"}[upto(3)];
                copy[0].replace(copy[0].find(name + ";"), name.size(), name + std::string(1 + upto(5), '_'));
            }
        }
        std::string text;
        for (const std::string& l : copy) text += l + '\n';
        INFO(text);
        const auto table = read_spool_table(text, "broken.csv");
        REQUIRE_FALSE(table);
        CHECK_THAT(table.error().where, Contains("broken.csv: line "));
        CHECK_FALSE(table.error().what.empty());
        CHECK_FALSE(table.error().mend.empty());
        ++broken;
    }
}

TEST_CASE("What is in the rack already is not added twice, and another material under its code is refused whole") {
    SpoolFile rack;
    const auto table = read_spool_table("code,material,size_mm,L,a,b\nA,nylon,0.15,50,0,0\nB,silk,0.1,60,1,1\n", "t.csv");
    REQUIRE(table);
    const auto first = merge(rack, {"", table->entries, ""}, "t.csv");
    REQUIRE(first);
    CHECK(first->new_spools == 2);
    const auto second = merge(rack, {"", table->entries, ""}, "t.csv");
    REQUIRE(second);
    CHECK(second->new_spools == 0);
    CHECK(second->new_readings == 0);
    CHECK(second->known == 2);
    const auto other = read_spool_table("code,material,size_mm,L,a,b\nC,nylon,0.15,50,0,0\nA,silk,0.15,50,0,0\n", "o.csv");
    REQUIRE(other);
    CHECK_FALSE(merge(rack, {"", other->entries, ""}, "o.csv"));
    rack.entries[0].spool.lot = "7";
    const auto lot = read_spool_table("code,material,size_mm,L,a,b,lot\nA,nylon,0.15,50,0,0,8\n", "l.csv");
    REQUIRE(lot);
    CHECK_FALSE(merge(rack, {"", lot->entries, ""}, "l.csv"));
    CHECK(rack.entries.size() == 2);
}

TEST_CASE("Another shop's rack brings fields that are not ours, and what the rack is silent about") {
    const std::string opening = R"({"format":"bindhue-spools","version":1,)", reading = R"("readings":[{"lab":[50,1,2],"covariance":[[1,0,0],[0,1,0],[0,0,1]]}])";
    auto rack = read_spool_file(opening + R"("shelf":1,"spools":[{"code":"A","material":"nylon","size_mm":0.15,"box":1,)" + reading + "}]}", "ours");
    const auto other = read_spool_file(opening + R"("note":"theirs","shelf":2,"town":"x","spools":[
        {"code":"A","name":"Rust","material":"nylon","size_mm":0.15,"box":2,"maker":"m",)" + reading + R"(},
        {"code":"B","material":"silk","size_mm":0.1,"box":3,)" + reading + "}]}", "theirs");
    REQUIRE(rack);
    REQUIRE(other);
    REQUIRE(merge(*rack, *other, "theirs"));
    CHECK(rack->note == "theirs");
    CHECK(rack->unknown == R"({"shelf":1,"town":"x"})");
    CHECK(rack->entries[0].spool.name == "Rust");
    CHECK(rack->entries[0].unknown == R"({"box":1,"maker":"m"})");
    CHECK(rack->entries[1].unknown == R"({"box":3})");
    // Into an empty rack it comes whole.
    SpoolFile empty;
    REQUIRE(merge(empty, *other, "theirs"));
    CHECK(*write_spool_file(empty) == *write_spool_file(*other));
}

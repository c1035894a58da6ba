// `bindhue card assign` as its user meets it: what it writes, what it never writes over, and how it refuses.
#include <catch2/catch.hpp>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <sstream>

#include <nlohmann/json.hpp>

#include "shop/card_layout.hpp"
#include "support/command.hpp"
#include "support/temporary_folder.hpp"

using namespace bindhue;
using namespace bindhue::capture;
namespace fs = std::filesystem;

namespace {

Ended assign(const fs::path& folder, const std::string& arguments) { return bindhue_command("card " + arguments, folder); }

std::string measurements(double darker, double bluer = 0) {
    std::ostringstream out;
    out << "CGATS.17\nINSTRUMENTATION \"invented\"\nWEIGHTING_FUNCTION \"ILLUMINANT, D50;OBSERVER, 2 degree\"\n"
           "BEGIN_DATA_FORMAT\nSAMPLE_ID LAB_L LAB_A LAB_B\nEND_DATA_FORMAT\nBEGIN_DATA\n";
    for (const CardPatch& p : bench_card().patches)
        if (p.role != PatchRole::trap) out << p.id << " " << p.lab.L - darker << " " << p.lab.a << " " << p.lab.b - bluer << "\n";
    out << "END_DATA\n";
    return out.str();
}

std::size_t files_in(const fs::path& folder) {
    return static_cast<std::size_t>(std::distance(fs::directory_iterator(folder), fs::directory_iterator()));
}

}  // namespace

TEST_CASE("card assign gives a print its measured values in a new file, and never writes over one unasked") {
    const TemporaryFolder folder;
    std::ofstream(folder.path / "m.txt") << measurements(2);
    const Ended first = assign(folder.path, "assign --from m.txt");
    INFO(first.err);
    REQUIRE(first.code == 0);
    CHECK(first.out.find("card-measured.json written") != std::string::npos);
    const auto card = load_card_layout(folder.path / "card-measured.json");
    REQUIRE(card);
    CHECK(card->trust == Trust::measured);
    CHECK(card->patch("A1")->lab.L == 85);
    CHECK(card->values_from->instrument == "invented");

    CHECK(first.out.find("brightener") == std::string::npos);
    std::ofstream(folder.path / "office.txt") << measurements(0, 8);
    const Ended office = assign(folder.path, "assign --from office.txt --out office.json");
    REQUIRE(office.code == 0);
    CHECK(office.out.find("optical brightener (its white is at b* -7)") != std::string::npos);
    fs::remove(folder.path / "office.json");

    const std::string before = text_of(folder.path / "card-measured.json");
    const Ended again = assign(folder.path, "assign --from m.txt");
    CHECK(again.code == 2);
    CHECK(again.err.find("there already") != std::string::npos);
    CHECK(again.err.find("--replace") != std::string::npos);
    CHECK(text_of(folder.path / "card-measured.json") == before);

    std::ofstream(folder.path / "m.txt") << measurements(3);
    const Ended replaced = assign(folder.path, "assign --from m.txt --replace --json --name 'print 7'");
    REQUIRE(replaced.code == 0);
    const auto json = nlohmann::json::parse(replaced.out);
    CHECK(json["format"] == "bindhue-card-assign");
    CHECK(json["version"] == 1);
    CHECK(json["name"] == "print 7");
    CHECK(json["trust"] == "measured");
    CHECK(json["patches"].size() == 70);
    CHECK(json["moved"]["median"].get<double>() > 1);
    CHECK(text_of(folder.path / "card-measured.json.previous") == before);

    // From that file again: the new one lies beside it, and the name does not grow.
    const Ended third = assign(folder.path, "assign card-measured.json --from m.txt --out third.json");
    REQUIRE(third.code == 0);
    CHECK(load_card_layout(folder.path / "third.json"));
}

TEST_CASE("card assign refuses bad files with what, where and how to mend, and writes nothing") {
    const TemporaryFolder folder;
    const std::string good = measurements(2);
    std::ofstream(folder.path / "m.txt") << good;
    std::ofstream(folder.path / "cut.txt") << good.substr(0, good.size() / 2);
    std::ofstream(folder.path / "picture.jpg") << "\xFF\xD8\xFF\xE0 no text";
    std::ofstream(folder.path / "map.csv") << "patch,sample\nQ1,1\n";
    std::ofstream(folder.path / "broken.json") << "{";
    const std::size_t files = files_in(folder.path);
    struct Case {
        std::string arguments;
        int code;
        std::string says;
    };
    for (const Case& c : {Case{"assign --from cut.txt", 3, "cut.txt: line 35"}, {"assign --from picture.jpg", 3, "no CGATS text"},
                          {"assign --from none.txt", 3, "none.txt"}, {"assign broken.json --from m.txt", 3, "broken.json"},
                          {"assign --from m.txt --map map.csv", 3, "map.csv: line 2"}, {"assign --from m.txt --id LAB_X", 3, "LAB_X"},
                          {"assign", 2, "--from"}, {"assign --from m.txt --out /nowhere/at/all/c.json", 5, "/nowhere"}}) {
        const Ended ended = assign(folder.path, c.arguments);
        INFO(c.arguments << ": " << ended.err);
        CHECK(ended.code == c.code);
        CHECK(ended.err.find(c.says) != std::string::npos);
        CHECK(ended.err.find("what to do") != std::string::npos);
        CHECK(ended.out.empty());
        CHECK(files_in(folder.path) == files);
    }
}

TEST_CASE("card print writes the list of patches to measure when asked") {
    const TemporaryFolder folder;
    REQUIRE(assign(folder.path, "print --output card.svg --list patches.txt").code == 0);
    CHECK(text_of(folder.path / "patches.txt").find("\"A1\"\t\"colour\"") != std::string::npos);
    const Ended ended = assign(folder.path, "assign --from patches.txt");
    CHECK(ended.code == 3);
    CHECK(ended.err.find("no fields of a colour") != std::string::npos);
}

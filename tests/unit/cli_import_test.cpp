// Files with something wrong in them, given to `bindhue spool import` on a shop on disk: each is refused with what, where and how
// to mend, and not a byte of the shop changes.
#include <catch2/catch.hpp>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <map>
#include <sstream>
#include <vector>

#include <nlohmann/json.hpp>

#include "support/command.hpp"
#include "support/source_dir.hpp"
#include "support/temporary_folder.hpp"

using nlohmann::ordered_json;
namespace fs = std::filesystem;

namespace {

struct BadFile {
    std::string what;     // is wrong, for the report
    std::string ending;   // of the file's name
    std::string bytes;
    bool has_line = true;  // the error must name a line, or a place in the JSON
};

using Row = std::vector<std::string>;
std::string csv(const std::vector<Row>& rows, char separator = ',') {
    std::string out;
    for (const Row& row : rows) {
        for (std::size_t i = 0; i < row.size(); ++i) out += (i > 0 ? std::string(1, separator) : "") + row[i];
        out += '\n';
    }
    return out;
}

const std::vector<Row> good{
    {"code", "name", "material", "size", "size_mm", "lot", "metres_left", "L", "a", "b", "sd", "date"},
    {"N-1", "Harbour", "nylon", "A", "0.15", "7", "90", "31.2", "2.4", "-24.8", "0.5", "2026-11-20"},
    {"N-2", "Rowan", "nylon", "A", "0.15", "7", "55", "44", "52.1", "38.6", "0.5", "2026-11-20"},
    {"S-1", "Old straw", "silk", "00", "0.1", "2", "", "78.3", "4.2", "38.9", "1", "2026-11-20"}};

std::size_t column(const std::string& name) {
    return static_cast<std::size_t>(std::find(good[0].begin(), good[0].end(), name) - good[0].begin());
}

void bad_tables(std::vector<BadFile>& out) {
    for (const char* name : {"code", "material", "size_mm", "L", "a", "b"}) {
        std::vector<Row> rows = good;
        for (Row& row : rows) row.erase(row.begin() + static_cast<std::ptrdiff_t>(column(name)));
        out.push_back({std::string("no column ") + name, ".csv", csv(rows), false});
        rows = good;
        rows[0][column(name)] += "_";
        out.push_back({std::string("misspelt column ") + name, ".csv", csv(rows), false});
    }
    for (const std::string& name : good[0]) {
        std::vector<Row> rows = good;
        for (Row& row : rows) row.push_back(row[column(name)]);
        out.push_back({"column twice: " + name, ".csv", csv(rows), false});
    }
    for (const char* name : {"size_mm", "metres_left", "L", "a", "b", "sd"})
        for (const char* value : {"x", "nan", "-inf", "1e999", "1 2", "9..9", "0x1p3", "-1e7"})
            for (const std::size_t line : {std::size_t{1}, std::size_t{3}}) {
                std::vector<Row> rows = good;
                rows[line][column(name)] = value;
                out.push_back({std::string(name) + " is " + value, ".csv", csv(rows)});
            }
    for (const char* name : {"code", "material", "size_mm", "L", "a", "b"}) {
        std::vector<Row> rows = good;
        rows[2][column(name)] = "";
        out.push_back({std::string("empty ") + name, ".csv", csv(rows)});
    }
    for (const char* material : {"wool", "Nylon ", "nylon;silk", "0"}) {
        std::vector<Row> rows = good;
        rows[2][column("material")] = material;
        out.push_back({std::string("material ") + material, ".csv", csv(rows)});
    }
    for (const char* name : {"name", "size", "lot", "metres_left", "size_mm"}) {
        std::vector<Row> rows = good;
        rows.push_back(rows[1]);
        rows.back()[column(name)] = name == std::string("size_mm") ? "0.2" : "12";
        out.push_back({std::string("two lines of one code differ in ") + name, ".csv", csv(rows)});
    }
    const std::string whole = csv(good);
    // Cut within a line, before its last field: some fields are missing.
    for (std::size_t cut = whole.find("N-1"); cut < whole.size(); cut += 7) {
        const auto end = whole.find('\n', cut);
        if (end != std::string::npos && whole.substr(cut, end - cut).find(',') != std::string::npos)
            out.push_back({"cut off at byte " + std::to_string(cut), ".csv", whole.substr(0, cut)});
    }
    for (std::size_t at = whole.find("N-1"); at < whole.size(); at += 11) {
        std::string text = whole;
        text.insert(at, "\"");
        out.push_back({"a quote at byte " + std::to_string(at), ".csv", text});
        text = whole;
        text[at] = '\x80';
        out.push_back({"no UTF-8 at byte " + std::to_string(at), ".csv", text});
        text[at] = '\0';
        out.push_back({"a NUL at byte " + std::to_string(at), ".csv", text});
    }
    for (const bool little : {true, false}) {
        std::string wide = little ? "\xFF\xFE" : "\xFE\xFF";
        for (const char c : whole) wide += little ? std::string{c, '\0'} : std::string{'\0', c};
        out.push_back({"UTF-16", ".csv", wide, false});
    }
    out.push_back({"nothing in it", ".csv", "", false});
    out.push_back({"only a heading", ".csv", csv({good[0]})});
    out.push_back({"a photo", ".csv", text_of(in_source("tests/fuzz/photos/turned.jpg")), false});
    // What contradicts the rack: the shop has R-1, nylon, 0.15 mm, lot 3.
    for (const auto& [name, value] : {std::pair{"material", "silk"}, {"size_mm", "0.2"}, {"lot", "4"}}) {
        std::vector<Row> rows{good[0], good[1]};
        rows[1][0] = "R-1";
        rows[1][column("lot")] = "3";
        rows[1][column(name)] = value;
        out.push_back({std::string("another ") + name + " than in the rack", ".csv", csv(rows), false});
    }
}

const std::string sound_cgats = R"(CGATS.17
THREAD_MATERIAL "silk"
THREAD_SIZE_MM 0.1
NUMBER_OF_FIELDS 9
BEGIN_DATA_FORMAT
SAMPLE_ID SAMPLE_NAME LAB_L LAB_A LAB_B STDEV_L STDEV_A STDEV_B DYE_LOT
END_DATA_FORMAT
NUMBER_OF_SETS 3
BEGIN_DATA
C-1 "Dark red" 31.2 40.1 20.4 0.2 0.3 0.3 lot7
C-2 Slate 41.25 1e-3 -7 0.2 0.3 0.4 lot7
C-3 Straw 78.3 4.2 38.9 0.5 0.5 0.6 lot2
END_DATA
)";

// The CGATS file with a text in it replaced by another, once.
std::string cgats_with(const std::string& was, const std::string& is) {
    std::string text = sound_cgats;
    return text.replace(text.find(was), was.size(), is);
}

void bad_cgats(std::vector<BadFile>& out) {
    const auto add = [&](const std::string& what, std::string text, bool has_line = true) { out.push_back({what, ".cgats", std::move(text), has_line}); };
    for (const char* line : {"THREAD_MATERIAL \"silk\"\n", "THREAD_SIZE_MM 0.1\n", "END_DATA_FORMAT\n", "BEGIN_DATA\n", "END_DATA\n"})
        add(std::string("without ") + line, cgats_with(line, ""), false);
    for (const char* field : {"SAMPLE_ID", "LAB_L", "LAB_A", "LAB_B"}) {
        add(std::string("misspelt field ") + field, cgats_with(field, std::string(field) + "X"), false);
        add(std::string("field twice, ") + field, cgats_with("DYE_LOT\n", std::string(field) + "\n"), false);
    }
    for (const char* number : {"0", "1", "8", "10", "-9", "x", "1e9"}) {
        add(std::string("fields said to be ") + number, cgats_with("FIELDS 9", std::string("FIELDS ") + number), false);
        add(std::string("sets said to be ") + number, cgats_with("SETS 3", std::string("SETS ") + number), false);
    }
    for (const char* value : {"x", "nan", "-inf", "1e999", "9..9", "0x1p3", "-1e7", "1,5", "\"\""}) {
        for (const char* there : {"31.2", "40.1", "20.4", "0.2", "38.9", "0.6"}) add(std::string(there) + " is " + value, cgats_with(there, value));
        add(std::string("size is ") + value, cgats_with("MM 0.1", std::string("MM ") + value), false);
    }
    for (const char* value : {"\"wool\"", "\"\"", "5", "\"nylon silk\""}) add(std::string("material ") + value, cgats_with("\"silk\"", value), false);
    add("a value too few", cgats_with(" lot2", ""), false);
    add("a value too many", cgats_with(" lot2", " lot2 more"), false);
    add("no code", cgats_with("C-2", "\"\""));
    add("another colour for a code, and another lot", cgats_with("C-3", "C-1"));
    add("a quote that does not end", cgats_with("Slate", "\"Slate"), false);
    for (const char* light : {"WEIGHTING_FUNCTION \"ILLUMINANT, A\"", "WEIGHTING_FUNCTION \"OBSERVER, 10 degree\"", "ILLUMINATION_NAME \"D65\"", "OBSERVER_ANGLE \"10\""})
        add(std::string("colours under another light or observer: ") + light, cgats_with("THREAD_SIZE_MM", std::string(light) + "\nTHREAD_SIZE_MM"), false);
    for (std::size_t cut = sound_cgats.find("SAMPLE_NAME"); cut < sound_cgats.find("END_DATA\n", sound_cgats.find("C-3")); cut += 6)
        add("cut off at byte " + std::to_string(cut), sound_cgats.substr(0, cut), false);
    for (std::size_t at = sound_cgats.find("C-1"); at < sound_cgats.size(); at += 11) {
        std::string text = sound_cgats;
        text[at] = '\0';
        add("a NUL at byte " + std::to_string(at), text, false);
    }
    // What contradicts the rack: the shop has R-1, nylon, 0.15 mm.
    add("another material than in the rack", cgats_with("C-1", "R-1"), false);
}

void bad_json(std::vector<BadFile>& out, bool older) {
    const std::string zeros = older ? "[[0.25,0,0],[0,0.25,0],[0,0,0.25]]" : "[0.25,0.25,0.25,0,0,0]", version = older ? "1" : "2";
    const std::string text = R"({"format":"bindhue-spools","version":)" + version + R"(,"spools":[{"code":"J-1","name":"Moss","material":"nylon","size":"A","size_mm":0.15,
"lot":"1","readings":[{"lab":[40,-12,20],"covariance":)" + zeros + R"(,"camera":"c","card":"d","light":"e"}]}]})";
    for (std::size_t cut = 1; cut + 1 < text.size(); cut += 9)
        out.push_back({"cut off at byte " + std::to_string(cut), ".json", text.substr(0, cut), false});
    const ordered_json sound = ordered_json::parse(text);
    for (const char* at : {"/format", "/version", "/spools", "/spools/0/code", "/spools/0/material", "/spools/0/size_mm", "/spools/0/readings",
                           "/spools/0/readings/0/lab", "/spools/0/readings/0/covariance"}) {
        const ordered_json::json_pointer place(at);
        ordered_json changed = sound;
        changed[place.parent_pointer()].erase(place.back());
        out.push_back({std::string("without ") + at, ".json", changed.dump(), false});
        for (const char* value : {"5.5", "\"x\"", "[]", "{}", "true", "-1e9"}) {
            changed = sound;
            changed[place] = ordered_json::parse(value);
            if (std::string(at) == "/spools/0/code" && value == std::string("\"x\"")) continue;  // a code like another
            if (std::string(at) == "/spools" && value == std::string("[]")) continue;            // a rack without spools
            out.push_back({std::string(at) + " is " + value, ".json", changed.dump(), false});
        }
    }
    const char* const covariance = "/spools/0/readings/0/covariance";
    for (const auto& [at, value] : {std::pair{"/spools/0/readings/0/lab", "[40,-12]"}, {"/spools/0/readings/0/lab", "[400,0,0]"},
                                    {covariance, older ? "[[1,0,0],[0,-1,0],[0,0,1]]" : "[1,-1,1,0,0,0]"},
                                    {covariance, older ? "[[1,2,0],[2,1,0],[0,0,1]]" : "[1,1,1,2,0,0]"},
                                    {covariance, older ? "[[1,0.5,0],[0,1,0],[0,0,1]]" : "[1,1,1,0,0]"},
                                    {covariance, older ? "[1,1,1,0,0,0]" : "[[1,0,0],[0,1,0],[0,0,1]]"},
                                    {"/version", older ? "2" : "1"}, {"/version", "3"}}) {
        ordered_json changed = sound;
        changed[ordered_json::json_pointer(at)] = ordered_json::parse(value);
        out.push_back({std::string(at) + " is " + value, ".json", changed.dump(), false});
    }
    ordered_json twice = sound;
    twice["spools"].push_back(twice["spools"][0]);
    out.push_back({"a code twice", ".json", twice.dump(), false});
    std::string doubled = text;
    doubled.insert(doubled.find("\"spools\""), "\"version\":" + version + ",");
    out.push_back({"a field twice", ".json", doubled, false});
    out.push_back({"nested deep", ".json", std::string(10'000, '[') + std::string(10'000, ']'), false});
    out.push_back({"no UTF-8", ".json", text.substr(0, text.find("Moss")) + "\xC3" + text.substr(text.find("Moss")), false});
}

std::map<std::string, std::string> files_of(const fs::path& shop) {
    std::map<std::string, std::string> out;
    for (const auto& entry : fs::recursive_directory_iterator(shop))
        out[entry.path().string()] = entry.is_regular_file() ? text_of(entry.path()) : "";
    return out;
}

}  // namespace

TEST_CASE("Of hundreds of bad files none gets a byte into a shop, and each is told with what, where and how to mend") {
    const TemporaryFolder folder;
    const fs::path shop = folder.path / "shop";
    fs::create_directories(shop);
    std::ofstream(shop / "spools.json")
        << R"({"format":"bindhue-spools","version":1,"spools":[{"code":"R-1","material":"nylon","size_mm":0.15,"lot":"3",
               "readings":[{"lab":[50,0,0],"covariance":[[1,0,0],[0,1,0],[0,0,1]]}]}],"mine":"a field of another program"})";
    std::ofstream(shop / ".lock");
    const auto before = files_of(shop);
    std::vector<BadFile> files;
    bad_tables(files);
    const std::size_t tables = files.size();
    bad_cgats(files);
    const std::size_t with_cgats = files.size();
    bad_json(files, false);
    bad_json(files, true);
    std::printf("%zu bad tables, %zu bad CGATS files, %zu bad JSON files\n", tables, with_cgats - tables, files.size() - with_cgats);
    REQUIRE(tables >= 200);
    REQUIRE(with_cgats - tables >= 100);
    REQUIRE(files.size() - with_cgats >= 150);
#ifdef BINDHUE_SANITIZE
    constexpr std::size_t every = 8;
#else
    constexpr std::size_t every = 1;
#endif
    // What was broken was sound.
    std::ofstream(folder.path / "sound.cgats") << sound_cgats;
    const fs::path copy = folder.path / "copy";
    fs::copy(shop, copy);
    CHECK(bindhue_command("spool import " + quoted(folder.path / "sound.cgats") + " --shop " + quoted(copy)).code == 0);

    for (std::size_t i = 0; i < files.size(); i += every) {
        const BadFile& bad = files[i];
        const fs::path path = folder.path / ("bad" + bad.ending);
        std::ofstream(path, std::ios::binary) << bad.bytes;
        const Ended ended = bindhue_command("spool import " + quoted(path) + " --shop " + quoted(shop));
        const std::string told = ended.out + ended.err;
        INFO(bad.what << "\n" << told);
        CHECK(ended.code == 3);
        CHECK(told.find("bindhue: " + path.string()) != std::string::npos);
        CHECK(told.find("\n  what to do: ") != std::string::npos);
        if (bad.has_line) CHECK(told.find(": line ") != std::string::npos);
        CHECK(files_of(shop) == before);
    }
}

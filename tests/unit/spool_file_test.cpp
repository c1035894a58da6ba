#include "shop/spool_file.hpp"

#include <catch2/catch.hpp>
#include <functional>

#include "shop/json_text.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

Json rack() {
    return Json::parse(R"({
      "format": "bindhue-spools", "version": 2, "note": "invented",
      "spools": [
        {"code": "Q-1", "name": "tide green", "material": "nylon", "size": "A", "size_mm": 0.15, "lot": "7", "metres_left": 85.5,
         "readings": [{"lab": [40, -20, 10], "covariance": [0.04, 0.04, 0.04, 0.01, 0, 0],
                       "camera": "one", "card": "two", "light": "three", "source": "photo", "date": "2026-11-01"}]},
        {"code": "Q-2", "material": "preserved", "size_mm": 0.25,
         "readings": [{"lab": [60, 0, 0], "covariance": [1, 1, 1, 0, 0, 0]},
                      {"lab": [61, 0, 0], "covariance": [0, 0, 0, 0, 0, 0]}]}
      ]})");
}

Json sound() {
    Json file = rack();
    file["spools"][1]["material"] = "ncp-nylon";
    return file;
}

Result<SpoolFile> read(const Json& file) { return read_spool_file(file.dump(), "s.json"); }

}  // namespace

TEST_CASE("Spools, their readings and where these come from are read") {
    const auto file = read(sound());
    REQUIRE(file);
    CHECK(file->note == "invented");
    REQUIRE(file->entries.size() == 2);
    const Spool& spool = file->entries[0].spool;
    CHECK(spool.code == "Q-1");
    CHECK(spool.name == "tide green");
    CHECK(spool.material == Material::nylon);
    CHECK(spool.size == "A");
    CHECK(spool.size_mm == 0.15);
    CHECK(spool.lot == "7");
    CHECK(file->entries[0].metres_left == 85.5);
    CHECK_FALSE(file->entries[1].metres_left);
    REQUIRE(spool.readings.size() == 1);
    CHECK(spool.readings[0].lab.vector() == Vector3{40, -20, 10});
    CHECK(spool.readings[0].covariance(0, 1) == 0.01);
    CHECK(spool.readings[0].context.camera == "one");
    CHECK(spool.readings[0].context.light == "three");
    CHECK(file->entries[0].notes[0].source == "photo");
    CHECK(file->entries[0].notes[0].date == "2026-11-01");
    CHECK(file->entries[1].spool.readings.size() == 2);
    CHECK(file->entries[1].spool.readings[0].context.card.empty());
    CHECK(file->palette().size() == 2);
}

TEST_CASE("A rack is the same after writing and reading, unknown fields included") {
    Json before = sound();
    before["shelf"] = {{"row", 3}};
    before["spools"][0]["bought_from"] = "a friend";
    before["spools"][0]["readings"][0]["operator"] = "left hand";
    before["spools"][0]["past_readings"] = before["spools"][0]["readings"];
    before["spools"][0]["past_readings"][0]["lab"] = {42, -22, 11};
    const auto file = read(before);
    REQUIRE(file);
    const auto text = write_spool_file(*file);
    REQUIRE(text);
    const Json after = Json::parse(*text);
    CHECK(after["shelf"] == before["shelf"]);
    CHECK(after["spools"][0]["bought_from"] == "a friend");
    CHECK(after["spools"][0]["readings"][0]["operator"] == "left hand");
    CHECK(after["spools"][0]["past_readings"] == before["spools"][0]["past_readings"]);
    CHECK(file->entries[0].spool.readings.size() == 1);
    CHECK(after["spools"][0]["readings"][0]["covariance"] ==
          before["spools"][0]["readings"][0]["covariance"]);
    const auto again = read_spool_file(*text, "again");
    REQUIRE(again);
    CHECK(*write_spool_file(*again) == *text);
}

TEST_CASE("A spool that was taken out and one that was put in are written as they stand") {
    auto file = read(sound());
    REQUIRE(file);
    file->entries.erase(file->entries.begin());
    SpoolEntry added;
    added.spool.code = "Q-3";
    added.spool.material = Material::silk;
    Reading reading;
    reading.lab = {50, 1, 2};
    added.spool.readings.push_back(reading);
    file->entries.push_back(added);
    const auto text = write_spool_file(*file);
    REQUIRE(text);
    auto back = read_spool_file(*text, "back");
    REQUIRE(back);
    CHECK(back->find("Q-1") == nullptr);
    REQUIRE(back->find("Q-3"));
    CHECK(back->find("Q-3")->spool.material == Material::silk);
}

TEST_CASE("Each thing that is wrong with a rack is refused with its place and what to do") {
    struct Case {
        std::function<void(Json&)> change;
        std::string where;
        Reason reason;
    };
    const std::vector<Case> cases{
        {[](Json& f) { f["format"] = "bindhue-card"; }, "s.json: format", Reason::bad_format},
        {[](Json& f) { f["version"] = 9; }, "s.json: version", Reason::bad_format},
        {[](Json& f) { f["note"] = 1; }, "s.json: note", Reason::bad_format},
        {[](Json& f) { f["spools"] = 1; }, "s.json: spools", Reason::bad_format},
        {[](Json& f) { f["spools"][0]["code"] = ""; }, "s.json: spools[0].code", Reason::bad_value},
        {[](Json& f) { f["spools"][1]["code"] = "Q-1"; }, "s.json: spools[1]", Reason::bad_value},
        {[](Json& f) { f["spools"][1]["material"] = "wool"; }, "s.json: spools[1].material",
         Reason::bad_value},
        {[](Json& f) { f["spools"][1]["size_mm"] = 25; }, "s.json: spools[1].size_mm", Reason::bad_value},
        {[](Json& f) { f["spools"][1]["size"] = 25; }, "s.json: spools[1].size", Reason::bad_format},
        {[](Json& f) { f["spools"][1]["readings"] = Json::array(); }, "s.json: spools[1].readings",
         Reason::bad_format},
        {[](Json& f) {
             f["spools"][1]["readings"][0]["lab"] = {1, 2};
         },
         "s.json: spools[1].readings[0].lab", Reason::bad_format},
        {[](Json& f) { f["spools"][1]["readings"][0]["lab"][0] = 1e9; },
         "s.json: spools[1].readings[0].lab[0]", Reason::bad_value},
        {[](Json& f) { f["spools"][1]["readings"][0]["covariance"].push_back(0); },
         "s.json: spools[1].readings[0].covariance", Reason::bad_format},
        {[](Json& f) { f["spools"][1]["readings"][0]["covariance"][1] = "4"; },
         "s.json: spools[1].readings[0].covariance[1]", Reason::bad_format},
        {[](Json& f) { f["spools"][1]["readings"][0]["covariance"][1] = -1; },
         "s.json: spools[1].readings[0].covariance", Reason::bad_value},
        {[](Json& f) { f["spools"][1]["readings"][0]["covariance"][3] = 1.5; },
         "s.json: spools[1].readings[0].covariance", Reason::bad_value},
    };
    for (const Case& wrong : cases) {
        Json file = sound();
        wrong.change(file);
        const auto result = read(file);
        INFO(wrong.where);
        REQUIRE_FALSE(result);
        CHECK(result.error().where == wrong.where);
        CHECK(result.error().reason == wrong.reason);
        CHECK_FALSE(result.error().what.empty());
        CHECK_FALSE(result.error().mend.empty());
    }
}

TEST_CASE("What could not be read back is not written") {
    auto file = read(sound());
    REQUIRE(file);
    SECTION("a code twice") { file->entries[1].spool.code = "Q-1"; }
    SECTION("no reading") { file->entries[1].spool.readings.clear(); }
    SECTION("a name that is no UTF-8") { file->entries[1].spool.name = "\xff\xfe"; }
    const auto text = write_spool_file(*file);
    REQUIRE_FALSE(text);
    CHECK(text.error().reason == Reason::bad_value);
}

TEST_CASE("A rack with very many fields that are not ours is read without looking each up among all the others, and keeps them") {
    std::string text = R"({"format":"bindhue-spools","version":1,"spools":[])";
    for (int i = 0; i < 200'000; ++i) text += ",\"x" + std::to_string(i) + "\":1";
    const auto file = read_spool_file(text + "}", "s.json");
    REQUIRE(file);
    const auto written = write_spool_file(*file);
    REQUIRE(written);
    CHECK(read_spool_file(*written, "again")->unknown == file->unknown);
    const auto twice = read_spool_file(text + ",\"x7\":2}", "s.json");
    REQUIRE_FALSE(twice);
    CHECK(twice.error().what == "The field \"x7\" is given twice in one object.");
}

TEST_CASE("What is known of a spool's opacity is kept, with fields that are not ours, and checked") {
    Json file = sound();
    file["spools"][0]["opacity"] = {{"scattering", 1.3}, {"log_sd", 0.2}, {"source", "stick.jpg"}, {"date", "2026-11-27"}, {"stick", 4}};
    const auto read_again = read(file);
    REQUIRE(read_again);
    REQUIRE(read_again->entries[0].spool.opacity);
    CHECK(read_again->entries[0].spool.opacity->scattering == 1.3);
    CHECK_FALSE(read_again->entries[1].spool.opacity);
    CHECK(Json::parse(*write_spool_file(*read_again))["spools"][0]["opacity"] == file["spools"][0]["opacity"]);
    for (const Json& wrong : {Json("x"), Json{{"scattering", 1.3}}, Json{{"scattering", 0}, {"log_sd", 0.2}}, Json{{"scattering", 1}, {"log_sd", -0.2}}}) {
        file["spools"][0]["opacity"] = wrong;
        const auto refused = read(file);
        REQUIRE_FALSE(refused);
        CHECK_THAT(refused.error().where, Catch::Contains("spools[0].opacity"));
    }
}

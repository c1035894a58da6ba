// The published schemas and the readers must say the same: every rule of a schema is broken in turn in a
// sound document, and the reader must refuse it.
#include <catch2/catch.hpp>
#include <filesystem>
#include <functional>

#include "shop/atomic_file.hpp"
#include "shop/card_layout.hpp"
#include "shop/coat_tests.hpp"
#include "shop/job_file.hpp"
#include "shop/json_text.hpp"
#include "shop/settings.hpp"
#include "shop/spool_file.hpp"
#include "support/source_dir.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

Json json_file(const std::string& path) {
    const auto text = read_file(in_source(path));
    REQUIRE(text);
    const auto json = parse_json(*text, path);
    REQUIRE(json);
    return *json;
}

using Pointer = Json::json_pointer;

class Walk {
  public:
    using Reader = std::function<bool(const Json&)>;  // whether it takes the document

    Walk(Json schema, Json document, Reader takes)
        : schema_(std::move(schema)), document_(std::move(document)), takes_(std::move(takes)) {
        REQUIRE(takes_(document_));
    }

    void all() { visit(schema_, Pointer("")); }
    int rules() const { return rules_; }

  private:
    void expect(bool taken, const std::string& rule, const Pointer& at, const Json& document) {
        ++rules_;
        INFO(rule << " at " << at.to_string());
        CHECK(takes_(document) == taken);
    }
    void with(bool taken, const std::string& rule, const Pointer& at, const Json& value) {
        Json changed = document_;
        changed[at] = value;
        expect(taken, rule, at, changed);
    }

    void visit(Json schema, const Pointer& at) {
        if (schema.contains("$ref"))
            schema.update(schema_.at(Pointer(schema["$ref"].get<std::string>().substr(1))));
        const Json& here = document_.at(at);
        if (schema.contains("const")) with(false, "const", at, "another");
        if (schema.contains("enum")) {
            for (const Json& value : schema["enum"]) with(true, "enum", at, value);
            with(false, "not in enum", at, "another");
        }
        if (schema.contains("type")) with(false, "type", at, here.is_object() ? Json(5) : Json::object());
        if (schema.value("minLength", 0) == 1) with(false, "minLength", at, "");
        if (schema.contains("minimum")) with(false, "minimum", at, schema["minimum"].get<double>() - 0.1);
        if (schema.contains("maximum"))
            with(false, "maximum", at, schema["maximum"].get<double>() * 1.01 + 0.1);
        for (const char* limit : {"minItems", "maxItems"}) {
            if (!schema.contains(limit)) continue;
            const auto n = schema[limit].get<std::size_t>();
            const std::size_t size = limit == std::string("minItems") ? n - 1 : n + 1;
            Json resized = here;
            while (resized.size() > size) resized.erase(resized.size() - 1);
            while (resized.size() < size) resized.push_back(here[0]);
            with(false, limit, at, resized);
        }
        const Json required = schema.value("required", Json::array());
        const Json properties = schema.value("properties", Json::object());
        for (const auto& property : properties.items()) {
            INFO("the document of this test lacks " << property.key() << " at " << at.to_string());
            REQUIRE(here.contains(property.key()));
            Json without = document_;
            without[at].erase(property.key());
            const bool optional =
                std::find(required.begin(), required.end(), property.key()) == required.end();
            expect(optional, "without " + property.key(), at, without);
            visit(property.value(), at / property.key());
        }
        if (schema.contains("items")) visit(schema["items"], at / std::size_t{0});
        for (std::size_t i = 0; i < schema.value("prefixItems", Json::array()).size(); ++i)
            visit(schema["prefixItems"][i], at / i);
    }

    Json schema_, document_;
    Reader takes_;
    int rules_ = 0;
};

}  // namespace

TEST_CASE("The schema of spools and their reader agree on every rule") {
    Json document = json_file("tests/fuzz/spools/opacity.json");
    Walk walk(json_file("palettes/spools.schema.json"), document,
              [](const Json& json) { return read_spool_file(json.dump(), "s").has_value(); });
    walk.all();
    CHECK(walk.rules() > 60);
}

TEST_CASE("The schema of cards and their reader agree on every rule") {
    Json document = json_file("tests/fuzz/cards/full.json");
    Walk walk(json_file("calibration/card.schema.json"), document,
              [](const Json& json) { return read_card_layout(json.dump(), "c").has_value(); });
    walk.all();
    CHECK(walk.rules() > 100);
}

TEST_CASE("The schema of coat tests and their reader agree on every rule") {
    Json test{{"material", "nylon"}, {"schedule", "finish"}, {"size_mm", 0.15}};
    test["ground"] = {18, 0, 1};
    test["dry"] = {45, 50, 30};
    test["finished"] = {20, 35, 21};
    const Json covariance = Json::parse("[1, 2, 2, 0.1, 0, 0]");
    for (const char* field : {"ground_covariance", "dry_covariance", "finished_covariance"}) test[field] = covariance;
    test["product"] = "the shop's finish";
    test["build"] = "thin";
    test["coats"] = 3;
    test["source"] = "a stick";
    test["date"] = "2026-11-26";
    Json document{{"format", "bindhue-coat-tests"}, {"version", 2}};
    document["tests"] = Json::array({test});
    Walk walk(json_file("palettes/coat-tests.schema.json"), document,
              [](const Json& json) { return read_coat_tests(json.dump(), "c").has_value(); });
    walk.all();
    CHECK(walk.rules() > 50);
}

TEST_CASE("The schema of jobs and their reader agree on every rule") {
    const auto document = parse_json(R"({"format":"bindhue-job","version":1,"name":"trout-4","date":"2026-11-26","note":"","state":"open","coats":2,
        "film_mm":0.15,"one_guide":false,"bands":[{"spool":"S1","schedule":"finish","width_mm":30,"diameter_mm":10,"pitch_mm":0.15,"thread_mm":0.15,
        "underwrap_mm":0,"layers":1,"count":2,"replaces":3,"ground":"white","old_finish":{"depth_440":0.3,"tail_nm":55,"depth_sd":0.05,
        "tail_log_sd":0.5,"correlation":0}}],"photos":["photo-1.jpg"],"taken":[{"spool":"S1","before_m":90,"after_m":70}]})", "job");
    REQUIRE(document);
    Walk walk(json_file("palettes/job.schema.json"), *document,
              [](const Json& json) { return read_job(json.dump(), "j").has_value(); });
    walk.all();
    CHECK(walk.rules() > 80);
}

TEST_CASE("The schema of settings and their reader agree on every rule") {
    const auto document = parse_json(R"({"format":"bindhue-settings","version":1,"shop_name":"Rods","units":"mm","paper":"a4","dates":"year-month-day","wrap":"wrap","guide":"guide",
        "preserver_h":12,"next_coat_h":18,"last_coat_h":48,"prices":{"currency":"EUR","wrap":12.5,"metre":0.2,"ml":1}})", "settings");
    REQUIRE(document);
    Walk walk(json_file("palettes/settings.schema.json"), *document,
              [](const Json& json) { return read_settings(json.dump(), "s").has_value(); });
    walk.all();
    CHECK(walk.rules() > 40);
}

TEST_CASE("The demo shop is a sound rack") {
    const auto file = load_spool_file(in_source("palettes/demo-shop/spools.json"));
    REQUIRE(file);
    CHECK(file->entries.size() >= 120);
    const auto text = write_spool_file(*file);
    REQUIRE(text);
    CHECK(read_spool_file(*text, "again"));
}

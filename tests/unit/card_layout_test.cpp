#include "shop/card_layout.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <functional>

#include "shop/atomic_file.hpp"
#include "shop/json_text.hpp"
#include "support/source_dir.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

// A card of somebody's own: ten grey patches, nothing else.
Json plain_card() {
    Json card{{"format", "bindhue-card"}, {"version", 1}, {"name", "my card"}, {"trust", "measured"}};
    card["size_mm"] = {100, 60};
    card["patches"] = Json::array();
    for (int i = 0; i < 10; ++i) {
        Json patch{{"id", std::string("G").append(std::to_string(i))}, {"role", "grey"}};
        patch["rect_mm"] = {2 + 9 * i, 2, 8, 8};
        patch["lab"] = {95 - 8 * i, 0, 0};
        card["patches"].push_back(patch);
    }
    return card;
}

Result<CardLayout> read(const Json& card) { return read_card_layout(card.dump(), "my.json"); }

Json with(const std::function<void(Json&)>& change) {
    Json card = plain_card();
    change(card);
    return card;
}

Json with_opening_and_marker() {
    Json card = plain_card();
    card["opening_mm"] = {20, 20, 60, 20};
    card["fiducials"]["family"] = "aruco-4x4-50";
    card["fiducials"]["markers"] = Json::array();
    card["fiducials"]["markers"].push_back(Json{{"id", 7}, {"rect_mm", {2, 40, 12, 12}}});
    return card;
}

Json spectrum(double first, double step, std::size_t n, const std::function<double(double)>& of_nm) {
    Json values = Json::array();
    for (std::size_t i = 0; i < n; ++i) values.push_back(of_nm(first + step * static_cast<double>(i)));
    return Json{{"start_nm", first}, {"step_nm", step}, {"values", values}};
}

}  // namespace

TEST_CASE("The built-in bench card is calibration/card.json, and sound") {
    const auto file = load_card_layout(in_source("calibration/card.json"));
    REQUIRE(file);
    const CardLayout built_in = bench_card();
    CHECK(*write_card_layout(built_in) == *write_card_layout(*file));
    CHECK(built_in.width_mm == 160);
    CHECK(built_in.height_mm == 110);
    REQUIRE(built_in.opening);
    CHECK(built_in.opening->bottom_mm() == 72);
    CHECK(built_in.trust == Trust::nominal);
    CHECK(built_in.markers.size() == 6);
    CHECK(built_in.patches.size() == 72);
    REQUIRE(built_in.patch("C7"));
    CHECK(built_in.patch("C7")->role == PatchRole::trap);
    CHECK(built_in.patch("A1")->lab.b == 90);
    CHECK(built_in.patch("Z1") == nullptr);
}

TEST_CASE("Both sides of the bench card's opening have grey steps from white to black, checks and a trap") {
    const CardLayout card = bench_card();
    for (const bool above : {true, false}) {
        double lightest = 0, darkest = 100;
        int checks = 0, traps = 0;
        for (const CardPatch& patch : card.patches) {
            if ((patch.rect.centre().y_mm < card.opening->centre().y_mm) != above) continue;
            checks += patch.role == PatchRole::check;
            traps += patch.role == PatchRole::trap;
            if (patch.role != PatchRole::grey) continue;
            lightest = std::max(lightest, patch.lab.L);
            darkest = std::min(darkest, patch.lab.L);
        }
        CHECK(lightest >= 94);
        CHECK(darkest <= 19);
        CHECK(checks >= 5);
        CHECK(traps == 1);
    }
}

TEST_CASE("A card needs no opening, no marker and no trap") {
    const auto card = read(plain_card());
    REQUIRE(card);
    CHECK_FALSE(card->opening);
    CHECK(card->markers.empty());
    CHECK(card->trust == Trust::measured);
    CHECK(card->patches[3].rect.x_mm == 29);
}

TEST_CASE("Fields that the card format does not know survive reading and writing") {
    Json file = with_opening_and_marker();
    file["bought"] = {{"paper", "matt"}, {"sheets", 3}};
    file["patches"][2]["ink_percent"] = {0, 0, 0, 14};
    file["fiducials"]["margin_mm"] = 1.5;
    file["fiducials"]["markers"][0]["glued"] = true;
    const auto once = read(file);
    REQUIRE(once);
    const auto text = write_card_layout(*once);
    REQUIRE(text);
    const Json back = Json::parse(*text);
    CHECK(back["bought"] == file["bought"]);
    CHECK(back["patches"][2]["ink_percent"] == file["patches"][2]["ink_percent"]);
    CHECK(back["fiducials"]["margin_mm"] == 1.5);
    CHECK(back["fiducials"]["markers"][0]["glued"] == true);
    const auto twice = read_card_layout(*text, "again");
    REQUIRE(twice);
    CHECK(*write_card_layout(*twice) == *text);
}

TEST_CASE("A spectrum on the library's own wavelengths comes back unchanged") {
    const auto smooth = [](double nm) { return 0.4 + 0.3 * std::sin(nm / 40); };
    Json file = plain_card();
    file["patches"][0]["spectrum"] = spectrum(380, 5, 81, smooth);
    const auto card = read(file);
    REQUIRE(card);
    const Spectrum s = card->patches[0].spectrum->resampled();
    for (std::size_t i = 0; i < spectrum_size; ++i)
        CHECK(s[i] == Approx(smooth(Spectrum::wavelength_nm(i))).margin(1e-14));
}

TEST_CASE("A spectrum by 10 nm is resampled as a cubic and held constant beyond its ends") {
    // A cubic polynomial is reproduced exactly between the ends.
    const auto cubic = [](double nm) {
        const double t = (nm - 550) / 150;
        return 0.5 + 0.1 * t - 0.1 * t * t + 0.15 * t * t * t;
    };
    Json file = plain_card();
    file["patches"][0]["spectrum"] = spectrum(400, 10, 31, cubic);
    const auto card = read(file);
    REQUIRE(card);
    const Spectrum s = card->patches[0].spectrum->resampled();
    for (std::size_t i = 0; i < spectrum_size; ++i) {
        const double nm = std::min(std::max(Spectrum::wavelength_nm(i), 400.0), 700.0);
        CHECK(s[i] == Approx(cubic(nm)).margin(1e-12));
    }
}

TEST_CASE("Each thing that is wrong with a card is refused with its place and what to do") {
    struct Case {
        std::function<void(Json&)> change;
        std::string where;  // must be part of it
        std::string what;
        Reason reason;
    };
    const std::vector<Case> cases{
        {[](Json& c) { c["format"] = "other"; }, "my.json: format", "format", Reason::bad_format},
        {[](Json& c) { c["version"] = 2; }, "version", "later version", Reason::bad_format},
        {[](Json& c) { c["name"] = ""; }, "name", "empty", Reason::bad_value},
        {[](Json& c) { c["size_mm"] = {100}; }, "size_mm", "1 entries", Reason::bad_format},
        {[](Json& c) {
             c["size_mm"] = {100, 1e300};
         },
         "size_mm[1]", "out of range", Reason::bad_value},
        {[](Json& c) { c["size_mm"] = "A4"; }, "size_mm", "list", Reason::bad_format},
        {[](Json& c) { c["trust"] = "certain"; }, "trust", "not known", Reason::bad_value},
        {[](Json& c) { c["colour"] = "CIELAB, D65, 10 degree"; }, "colour", "white point", Reason::bad_value},
        {[](Json& c) {
             c["opening_mm"] = {0, 0, 60, 20};
         },
         "patches[0]", "over another: The opening", Reason::bad_value},
        {[](Json& c) {
             c["opening_mm"] = {50, 30, 60, 20};
         },
         "opening_mm", "beyond the card", Reason::bad_value},
        {[](Json& c) { c["patches"][4].erase("lab"); }, "patches[4]", "\"lab\" is missing",
         Reason::bad_format},
        {[](Json& c) { c["patches"][4]["lab"][1] = 300; }, "patches[4].lab[1]", "300", Reason::bad_value},
        {[](Json& c) { c["patches"][4]["lab"][0] = "white"; }, "patches[4].lab[0]", "number",
         Reason::bad_format},
        {[](Json& c) { c["patches"][4]["role"] = "red"; }, "patches[4].role", "role", Reason::bad_value},
        {[](Json& c) { c["patches"][4]["id"] = "G1"; }, "patches[4]", "G1 is there twice", Reason::bad_value},
        {[](Json& c) {
             c["patches"][4]["rect_mm"] = {2, 2, 8, 8};
         },
         "patches[4]", "over another: Patch G0", Reason::bad_value},
        {[](Json& c) {
             c["patches"][9]["rect_mm"] = {95, 2, 8, 8};
         },
         "patches[9]", "beyond the card", Reason::bad_value},
        {[](Json& c) { c["patches"][9]["rect_mm"][2] = 0; }, "patches[9].rect_mm[2]", "out of range",
         Reason::bad_value},
        {[](Json& c) { c["patches"][9] = 7; }, "patches[9]", "object", Reason::bad_format},
        {[](Json& c) { c["patches"].erase(0), c["patches"].erase(0), c["patches"].erase(0); }, "patches",
         "7 entries", Reason::bad_format},
        {[](Json& c) {
             c["patches"][0]["role"] = c["patches"][1]["role"] = c["patches"][2]["role"] = "check";
         },
         "patches", "Only 7", Reason::too_few},
        {[](Json& c) {
             c["scale_mm"] = {{"start", {50, 30}}, {"length", 60}};
         },
         "scale_mm", "beyond", Reason::bad_value},
        {[](Json& c) { c["patches"][0]["spectrum"] = spectrum(400, 10, 30, [](double) { return 0.5; }); },
         "patches[0].spectrum.values", "before 700", Reason::too_few},
        {[](Json& c) { c["patches"][0]["spectrum"] = spectrum(380, 10, 41, [](double) { return 50.0; }); },
         "patches[0].spectrum.values[0]", "50 is out of range", Reason::bad_value},
    };
    for (const Case& wrong : cases) {
        const auto card = read(with(wrong.change));
        INFO(wrong.where << ": " << wrong.what);
        REQUIRE_FALSE(card);
        CHECK(card.error().where.find("my.json") == 0);
        CHECK(card.error().where.find(wrong.where) != std::string::npos);
        CHECK(card.error().what.find(wrong.what) != std::string::npos);
        CHECK(card.error().reason == wrong.reason);
        CHECK_FALSE(card.error().mend.empty());
    }
}

TEST_CASE("A wrong marker is refused") {
    const auto wrong = [](const std::function<void(Json&)>& change) {
        Json card = with_opening_and_marker();
        change(card["fiducials"]);
        const auto result = read(card);
        REQUIRE_FALSE(result);
        return result.error().where + " | " + result.error().what;
    };
    CHECK(read(with_opening_and_marker()));
    using Catch::Matchers::Contains;
    CHECK_THAT(wrong([](Json& f) { f["family"] = "dots"; }), Contains("fiducials.family | This family"));
    CHECK_THAT(wrong([](Json& f) { f["markers"][0]["id"] = 50; }),
               Contains("markers[0].id | 50 is out of range"));
    CHECK_THAT(wrong([](Json& f) { f["markers"][0]["id"] = 1.5; }), Contains("not a whole number"));
    CHECK_THAT(wrong([](Json& f) { f["markers"][0]["rect_mm"] = {2, 40, 12, 11}; }), Contains("not square"));
    CHECK_THAT(wrong([](Json& f) {
                   f["markers"][0]["rect_mm"] = {14, 30, 12, 12};
               }),
               Contains("over another: The opening"));
    CHECK_THAT(wrong([](Json& f) {
                   f["markers"].push_back(f["markers"][0]);
                   f["markers"][1]["rect_mm"] = {85, 40, 12, 12};
               }),
               Contains("Marker 7 is there twice"));
}

TEST_CASE("What is no JSON is refused with its line, and a doubled or deeply nested field too") {
    const auto broken = read_card_layout("{\n  \"format\": \"bindhue-card\"\n  \"version\": 1\n}", "my.json");
    REQUIRE_FALSE(broken);
    CHECK(broken.error().where == "my.json: line 3, column 11");
    const auto doubled = read_card_layout(R"({"name": "a", "name": "b"})", "my.json");
    REQUIRE_FALSE(doubled);
    CHECK(doubled.error().what == "The field \"name\" is given twice in one object.");
    const auto deep = read_card_layout(std::string(1'000'000, '['), "my.json");
    REQUIRE_FALSE(deep);
    CHECK(deep.error().what.find("nested") != std::string::npos);
    const auto huge = read_card_layout(R"({"format": "bindhue-card", "version": 1e999})", "my.json");
    REQUIRE_FALSE(huge);
    CHECK(huge.error().reason == Reason::bad_format);
    CHECK_FALSE(read_card_layout("", "my.json"));
    CHECK_FALSE(read_card_layout("null", "my.json"));
    CHECK_FALSE(read_card_layout("[]", "my.json"));
}

TEST_CASE("A card file that is not there says so") {
    const auto card = load_card_layout("/nowhere/card.json");
    REQUIRE_FALSE(card);
    CHECK(card.error().reason == Reason::not_found);
    CHECK(card.error().where == "/nowhere/card.json");
}

TEST_CASE("Rectangles that touch neither overlap nor reach beyond") {
    const CardRect one{0, 0, 10, 10};
    CHECK_FALSE(one.overlaps({10, 0, 5, 5}));
    CHECK_FALSE(one.overlaps({0, 10, 5, 5}));
    CHECK(one.overlaps({9.9, 9.9, 5, 5}));
    CHECK(one.overlaps({2, 2, 1, 1}));
    CHECK(one.contains(one));
    CHECK_FALSE(one.contains({0, 0, 10.01, 10}));
    CHECK(one.centre().x_mm == 5);
}

#include "shop/settings.hpp"

#include <catch2/catch.hpp>

#include "support/command.hpp"
#include "support/sample.hpp"

using namespace bindhue;
using namespace bindhue::capture;
using Catch::Matchers::Contains;

TEST_CASE("Settings come back as they were saved, with fields that are not ours") {
    const char* const text = R"({"format":"bindhue-settings","version":1,"shop_name":"Rods & co","units":"inches","paper":"letter","dates":"day-month-year","wrap":"whip","guide":"ring",
        "preserver_h":6,"last_coat_h":72.5,"shelf":"left","prices":{"currency":"EUR","wrap":12.5,"metre":0.2,"rush":3}})";
    const auto read = read_settings(text, "s");
    REQUIRE(read);
    const TemporaryFolder folder;
    const auto shop = Shop::open(folder.path, Access::change);
    REQUIRE(shop);
    CHECK(load_settings(*shop)->units == Units::mm);  // a shop without the file has the usual ones
    REQUIRE(save_settings(*shop, *read));
    const auto again = load_settings(*shop);
    REQUIRE(again);
    CHECK(again->shop_name == "Rods & co");
    CHECK(again->units == Units::inches);
    CHECK(again->paper == Paper::letter);
    CHECK(again->dates == Dates::day_first);
    CHECK(again->preserver_h == 6.0);
    CHECK_FALSE(again->next_coat_h);
    CHECK(again->last_coat_h == 72.5);
    REQUIRE(again->prices);
    CHECK(again->prices->wrap == 12.5);
    CHECK(again->prices->ml == 0);
    const std::string saved = text_of(folder.path / "settings.json");
    CHECK_THAT(saved, Contains("\"shelf\"") && Contains("\"rush\""));
    CHECK_FALSE(read_settings(R"({"format":"bindhue-settings","version":1,"shop_name":")" + std::string(101, 'x') + "\"}", "s"));
    CHECK_FALSE(read_settings(R"({"format":"bindhue-settings","version":2})", "s"));
}

TEST_CASE("The shop's words stand in its texts") {
    Settings british;
    british.wrap = WrapWord::whip;
    british.guide = GuideWord::ring;
    CHECK(in_words_of(british, "{Wraps} to wind: cut the {wrap} on the {guide} foot, {wraps} and {guides}") ==
          "Whippings to wind: cut the whipping on the ring foot, whippings and rings");
    CHECK(in_words_of({}, "{Wraps}, {guide}") == "Wraps, guide");
}

TEST_CASE("Dates are written as the shop writes them, and what is no date stays") {
    Settings settings;
    CHECK(date_of(settings, "2026-11-07") == "2026-11-07");
    settings.dates = Dates::day_first;
    CHECK(date_of(settings, "2026-11-07") == "7 November 2026");
    settings.dates = Dates::month_first;
    CHECK(date_of(settings, "2026-11-07") == "November 7, 2026");
    for (const char* none : {"", "2026-13-07", "2026-11-00", "2026-11-7", "some day", "2026/11/07", "abcd-11-07"}) CHECK(date_of(settings, none) == none);
}

TEST_CASE("The command shows settings, changes what is given, and keeps nothing that would not read") {
    const TemporaryFolder folder;
    const std::string shop = " --shop " + quoted(folder.path / "shop");
    CHECK(bindhue_command("shop settings" + shop).code == 3);  // no such shop
    REQUIRE(bindhue_command("shop settings --units inches --wrap-word bind --per-wrap 12.5 --currency EUR --preserver-hours 6" + shop).code == 0);
    REQUIRE(bindhue_command("shop settings --paper letter --preserver-hours 0" + shop).code == 0);
    const auto said = nlohmann::json::parse(bindhue_command("shop settings --json" + shop).out);
    CHECK(said.at("format") == "bindhue-shop-settings");
    CHECK(said.at("units") == "inches");
    CHECK(said.at("paper") == "letter");
    CHECK(said.at("wrap") == "bind");
    CHECK(said.at("preserver_h").is_null());
    CHECK(said.at("prices").at("wrap") == 12.5);
    const std::string before = text_of(folder.path / "shop/settings.json");
    for (const char* bad : {"--units cubits", "--wrap-word weave", "--guide-word hook", "--paper a0", "--per-wrap -1", "--preserver-hours 2000", "--preserver-hours 0.01",
                            "--currency 123456789"}) {
        INFO(bad);
        const Ended ended = bindhue_command(std::string("shop settings ").append(bad).append(shop));
        CHECK(ended.code != 0);
        CHECK_FALSE(ended.err.empty());
        CHECK(text_of(folder.path / "shop/settings.json") == before);
    }
    REQUIRE(bindhue_command("shop settings --no-prices" + shop).code == 0);
    CHECK_THAT(bindhue_command("shop settings" + shop).out, Contains("no quote"));
    CHECK_THAT(bindhue_command("shop check" + shop).out, Contains("settings.json"));
}

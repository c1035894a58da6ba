#include "shop/card_values.hpp"

#include <algorithm>
#include <catch2/catch.hpp>

#include "shop/json_text.hpp"

using namespace bindhue;
using namespace bindhue::capture;
using Catch::Matchers::Contains;

namespace {

CardValues values_of(const CardLayout& card) {
    CardValues out{{}, Trust::measured, {"m.txt", "2026-11-26", "", "invented", "third print", "Lab", "", ""}};
    for (const CardPatch& p : card.patches)
        if (p.role != PatchRole::trap) out.patches.push_back({p.id, {p.lab.L, p.lab.a + 1, p.lab.b}, Matrix3::diagonal({0.1, 0.2, 0.2}), {}});
    return out;
}

std::string refused(const CardValues& values) {
    const auto card = with_values(bench_card(), values);
    REQUIRE_FALSE(card);
    CHECK_FALSE(card.error().mend.empty());
    return card.error().where + " | " + card.error().what;
}

}  // namespace

TEST_CASE("A print with values of its own has their trust, name and provenance, and keeps what the format does not know") {
    const CardLayout before = bench_card();
    const auto after = with_values(before, values_of(before));
    REQUIRE(after);
    CHECK(after->trust == Trust::measured);
    CHECK(after->name == "bindhue bench card, measured 2026-11-26");
    CHECK(after->source == "measured: m.txt, Lab, invented, third print, 2026-11-26");
    CHECK(after->patch("A1")->lab.a == before.patch("A1")->lab.a + 1);
    const auto text = write_card_layout(*after);
    REQUIRE(text);
    const Json json = Json::parse(*text);
    CHECK(json["values_from"]["file"] == "m.txt");
    CHECK(json["values_from"]["instrument"] == "invented");
    CHECK_FALSE(json["values_from"].contains("target"));
    CHECK(json["patches"][0]["covariance"][1][1] == 0.2);
    CHECK(json["patches"][0]["ink_percent"] == Json::array({0, 0, 100, 0}));
    CHECK(json["note"].is_string());
    const auto again = read_card_layout(*text, "again");
    REQUIRE(again);
    CHECK(*write_card_layout(*again) == *text);
    // Traps are holes.
    CHECK(again->patch("C7")->lab.L == before.patch("C7")->lab.L);
    CHECK_FALSE(again->patch("C7")->covariance);
    CHECK(with_values(before, values_of(before), "my print")->name == "my print");
}

TEST_CASE("Values given again take the place of all that was given before") {
    CardValues first = values_of(bench_card());
    first.patches[0].spectrum = TabulatedReflectance{400, 20, std::vector<double>(16, 0.5)};
    const auto once = with_values(bench_card(), first);
    REQUIRE(once);
    REQUIRE(once->patch("A1")->spectrum);
    CardValues second{values_of(bench_card()).patches, Trust::assigned, {"p.jpg", "2027-01-02", "", "", "", "", "their card", ""}};
    second.patches[0].covariance.reset();
    const auto twice = with_values(*once, second);
    REQUIRE(twice);
    CHECK_FALSE(twice->patch("A1")->spectrum);
    CHECK_FALSE(twice->patch("A1")->covariance);
    CHECK(twice->name == "bindhue bench card, assigned 2027-01-02");
    CHECK(twice->source == "read beside their card: p.jpg, 2027-01-02");
    CHECK(twice->values_from->instrument.empty());
}

TEST_CASE("Values that leave a patch out, name another, or no layout could hold are refused") {
    CardValues values = values_of(bench_card());
    values.patches.erase(values.patches.begin(), values.patches.begin() + 30);
    CHECK_THAT(refused(values), Contains("30 of the card's patches have no value: A1, A2,") && Contains(" and 10 more"));
    for (const auto& [id, says] : {std::pair<std::string, std::string>{"Q1", "patch Q1"}, {"A1", "twice"}, {"C7", "trap"}}) {
        values = values_of(bench_card());
        values.patches[5].id = id;
        CHECK_THAT(refused(values), Contains(says));
    }
    values = values_of(bench_card());
    values.patches[7].lab.L = 111;
    CHECK_THAT(refused(values), Contains("patches[7].lab[0]"));
    values = values_of(bench_card());
    (*values.patches[7].covariance)(0, 0) = -1;
    CHECK_THAT(refused(values), Contains("patches[7].covariance"));
    values = values_of(bench_card());
    values.from.instrument = std::string(1, static_cast<char>(0xFF));
    CHECK_FALSE(with_values(bench_card(), values));
}

TEST_CASE("Values in another order are far from the design, as no printer is") {
    const CardLayout before = bench_card();
    CardValues turned = values_of(before);
    std::vector<Lab<D50>> labs;
    for (const PatchValue& v : turned.patches) labs.push_back(v.lab);
    std::reverse(labs.begin(), labs.end());
    for (std::size_t i = 0; i < labs.size(); ++i) turned.patches[i].lab = labs[i];
    const auto after = with_values(before, turned);
    REQUIRE(after);
    const auto moved = changes(before, *after);
    CHECK(moved.size() == 70);
    CHECK(moved.front().delta_e >= moved.back().delta_e);
    CHECK(median_change(moved) > 2 * suspicious_change);
    CHECK(median_change(changes(before, *with_values(before, values_of(before)))) < 2);
}

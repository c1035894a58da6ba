#include "colour/ranking.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <random>

using namespace bindhue;

namespace {

const ReadingContext door{"phone", "bench", "door"};

Spool spool(const std::string& code, const Lab<D50>& dry, Material material = Material::nylon) {
    Spool s;
    s.code = code;
    s.material = material;
    s.readings = {Reading{dry, Matrix3::diagonal({0.3, 0.3, 0.3}), {}}};
    return s;
}

Palette rack(int count, unsigned seed) {
    std::mt19937 random(seed);
    std::uniform_real_distribution<double> L(15, 92), share(0, 1), hue(0, 360);
    Palette out;
    for (int i = 0; i < count; ++i) {
        const double l = L(random), c = 55 * share(random) * std::min(1.0, std::min(l, 100 - l) / 40);
        out.push_back(spool("T-" + std::to_string(1000 + i), to_lab(LCh<D50>{l, c, hue(random)}),
                            all_materials[static_cast<std::size_t>(i) % all_materials.size()]));
    }
    return out;
}

const std::vector<Ground> two_grounds{{"blank", Reading{{20, 0, 0}, Matrix3::diagonal({1, 1, 1}), {}}, 0},
                                      {"white", Reading{{92, 0, 1}, Matrix3::diagonal({1, 1, 1}), {}}, 1}};

}  // namespace

TEST_CASE("the spool, schedule and ground that made the target come first") {
    const Palette palette = rack(60, 3);
    for (const std::size_t which : {4u, 17u, 35u, 51u})
        for (const Schedule schedule : all_schedules) {
            if (palette[which].material == Material::metallic) continue;
            const auto look = predict_finished(palette[which].material, schedule, palette[which].size_mm,
                                               palette[which].readings[0], two_grounds[0].colour);
            REQUIRE(look);
            RankingOptions options;
            options.schedules = {schedule};
            const auto best = rank({look->lab, Matrix3::diagonal({0.2, 0.2, 0.2}), {}}, palette,
                                   std::span(two_grounds).first(1), options);
            REQUIRE(best);
            REQUIRE(best->size() == 10);
            const auto found = std::find_if(best->begin(), best->end(),
                                            [&](const Candidate& c) { return c.spool == which; });
            REQUIRE(found != best->end());
            CHECK(ciede2000(found->predicted.lab, look->lab) < 1e-9);
            CHECK(found->leans.empty());
            if (schedule == Schedule::none) CHECK(found == best->begin());
        }
}

TEST_CASE("a short list is the head of the full one") {
    std::mt19937 random(5);
    std::uniform_real_distribution<double> L(10, 90), ab(-60, 60);
    const Palette palette = rack(40, 8);
    for (int i = 0; i < 12; ++i) {
        const Reading target{{L(random), ab(random), ab(random)}, Matrix3::diagonal({1, 1, 1}), {}};
        RankingOptions few, all;
        few.top = 7;
        all.top = 100000;
        const auto head = rank(target, palette, two_grounds, few),
                   full = rank(target, palette, two_grounds, all);
        REQUIRE((head && full));
        REQUIRE(full->size() == palette.size() * 3 * 2);
        REQUIRE(head->size() == 7);
        for (std::size_t k = 0; k < head->size(); ++k) {
            CHECK((*head)[k].spool == (*full)[k].spool);
            CHECK((*head)[k].schedule == (*full)[k].schedule);
            CHECK((*head)[k].ground == (*full)[k].ground);
            CHECK((*head)[k].delta_e == (*full)[k].delta_e);
        }
    }
}

TEST_CASE("the order is by the difference of best estimates, then steps, then code") {
    Palette palette{spool("B", {50, 20, 10}, Material::metallic),
                    spool("A", {50, 20, 10}, Material::metallic), spool("C", {30, 0, -20})};
    RankingOptions options;
    options.top = 100;
    const auto all = rank({{50, 20, 10}, Matrix3::identity(), {}}, palette, two_grounds, options);
    REQUIRE(all);
    REQUIRE(all->size() == 18);
    // Metallic looks the same at each schedule and ground: ties, fewest steps first.
    CHECK(palette[(*all)[0].spool].code == "A");
    CHECK(palette[(*all)[1].spool].code == "B");
    CHECK((*all)[0].steps == 0);
    CHECK((*all)[0].ground == 0);
    CHECK((*all)[2].steps == 1);
    CHECK((*all)[0].notes.size() == 1);
    for (std::size_t i = 1; i < all->size(); ++i) CHECK((*all)[i].delta_e_at_best >= (*all)[i - 1].delta_e_at_best - 0.01);
    for (const Candidate& c : *all) {
        CHECK(c.delta_e_at_best == ciede2000(Lab<D50>{50, 20, 10}, c.predicted.lab));
        CHECK(c.interval_low <= c.delta_e);
        CHECK(c.interval_high >= c.delta_e);
        CHECK(c.pass_chance >= 0);
        CHECK(c.pass_chance <= 1);
        CHECK(c.steps == coats(c.schedule) + two_grounds[c.ground].extra_steps);
        CHECK(validate(c.predicted));
    }
}

TEST_CASE("being unsure of a look does not put it behind one that is farther off") {
    Palette palette{spool("near", {50, 23, 10}), spool("far", {50, 26, 10})};
    palette[0].readings[0].covariance = Matrix3::diagonal({25, 25, 25});
    RankingOptions options;
    options.schedules = {Schedule::none};
    const auto best = rank({{50, 20, 10}, Matrix3::diagonal({0.2, 0.2, 0.2}), {}}, palette, std::span(two_grounds).first(1), options);
    REQUIRE(best);
    CHECK(palette[best->front().spool].code == "near");
    CHECK(best->front().delta_e > best->back().delta_e);  // the expected difference tells how unsure it is
}

TEST_CASE("like is ranked with like, and then what both readings share does not count") {
    Palette palette{spool("A", {50, 20, 10})};
    palette[0].readings.push_back(
        {{52, 21, 11}, Matrix3::diagonal({1, 1, 1}), door, Matrix3::diagonal({0.8, 0.8, 0.8})});
    RankingOptions options;
    options.schedules = {Schedule::none};
    const Reading target{
        {52, 21, 11}, Matrix3::diagonal({1, 1, 1}), door, Matrix3::diagonal({0.8, 0.8, 0.8})};
    const auto like = rank(target, palette, std::span(two_grounds).first(1), options);
    Reading elsewhere = target;
    elsewhere.context.light = "tube";
    const auto unlike = rank(elsewhere, palette, std::span(two_grounds).first(1), options);
    REQUIRE((like && unlike));
    CHECK((*like)[0].same_kind);
    CHECK_FALSE((*unlike)[0].same_kind);
    CHECK((*like)[0].delta_e < (*unlike)[0].delta_e);
    CHECK((*like)[0].pass_chance > (*unlike)[0].pass_chance);
    CHECK((*like)[0].predicted.covariance(0, 0) >= 1 - 1e-9);  // the reading itself is no surer for it
}

TEST_CASE("the ranking predicts what the shop's coat tests teach, and says on how many it rests") {
    const Palette palette = rack(30, 6);
    // Coats after which this shop's nylon is darker and greener than the prior has it; silk has no test.
    std::vector<CoatTest> tests;
    for (const Spool& s : palette) {
        if (s.material != Material::nylon) continue;
        const auto prior = predict_finished(s.material, Schedule::finish, s.size_mm, s.readings[0], two_grounds[0].colour);
        REQUIRE(prior);
        tests.push_back({s.material, Schedule::finish, s.size_mm, two_grounds[0].colour.lab, s.readings[0].lab,
                         {std::max(prior->lab.L - 4, 1.0), prior->lab.a - 3, prior->lab.b}});
    }
    RankingOptions options;
    options.top = 1000;
    options.coat_model = CoatModel(tests);
    const auto all = rank({{40, 20, 10}, Matrix3::identity(), {}}, palette, two_grounds, options);
    REQUIRE(all);
    REQUIRE(all->size() == palette.size() * 6);
    for (const Candidate& c : *all) {
        const Spool& s = palette[c.spool];
        CHECK(c.coat_tests == (s.material == Material::nylon && c.schedule == Schedule::finish ? tests.size() : 0));
        const auto predicted = options.coat_model.predict(s.material, c.schedule, s.size_mm, s.readings[0], two_grounds[c.ground].colour);
        REQUIRE(predicted);
        CHECK(c.predicted.lab.vector() == predicted->lab.vector());
        CHECK(c.predicted.covariance.m == predicted->covariance.m);
    }
}

TEST_CASE("a fluorescent spool is ranked with a note and hides no other") {
    Palette palette = rack(5, 1);
    palette.push_back(spool("FLUO", {95, -70, 110}));
    RankingOptions options;
    options.top = 1000;
    const auto all = rank({{95, -70, 110}, Matrix3::identity(), {}}, palette, two_grounds, options);
    REQUIRE(all);
    CHECK(all->size() == palette.size() * 6);
    const auto& first = all->front();
    CHECK(palette[first.spool].code == "FLUO");
    REQUIRE(first.notes.size() == 1);
    CHECK(first.notes[0].find("fluorescent") != std::string::npos);
}

TEST_CASE("what cannot be ranked is refused, and says where") {
    const Palette palette = rack(3, 1);
    const Reading target{{50, 0, 0}, Matrix3::identity(), {}};
    const double nan = std::numeric_limits<double>::quiet_NaN();
    const auto refused = [](const Result<std::vector<Candidate>>& result) {
        REQUIRE_FALSE(result);
        CHECK_FALSE(result.error().mend.empty());
        return result.error();
    };
    CHECK(refused(rank({{nan, 0, 0}, {}, {}}, palette, two_grounds)).where == "target");
    CHECK(refused(rank(target, {}, two_grounds)).reason == Reason::too_few);
    CHECK(refused(rank(target, palette, {})).reason == Reason::too_few);
    RankingOptions options;
    options.schedules.clear();
    CHECK(refused(rank(target, palette, two_grounds, options)).reason == Reason::too_few);
    for (const double tolerance : {0.0, -1.0, nan, 1e9}) {
        RankingOptions bad;
        bad.tolerance = tolerance;
        CHECK(refused(rank(target, palette, two_grounds, bad)).where == "tolerance");
    }
    const std::vector<Ground> glowing{{"decal", Reading{{95, 90, 90}, {}, {}}, 0}};
    CHECK(refused(rank(target, palette, glowing)).where == "ground decal");
    Palette twice = palette;
    twice.push_back(palette[1]);
    CHECK(refused(rank(target, twice, two_grounds)).where == "spool T-1001");
    RankingOptions nothing;
    nothing.top = 0;
    CHECK(rank(target, palette, two_grounds, nothing)->empty());
}

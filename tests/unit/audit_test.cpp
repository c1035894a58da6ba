#include "colour/audit.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <random>
#include <set>

using namespace bindhue;

namespace {

Spool spool(std::string code, const Lab<D50>& dry, Material material = Material::nylon, double size_mm = 0.15) {
    Spool out;
    out.code = std::move(code);
    out.material = material;
    out.size_mm = size_mm;
    out.readings = {{dry, Matrix3::diagonal({0.04, 0.04, 0.04}), {}}};
    return out;
}

std::vector<Lab<D50>> colours(std::size_t count, unsigned seed) {
    std::mt19937 random(seed);
    std::uniform_real_distribution<double> L(35, 65), ab(-15, 15);
    std::vector<Lab<D50>> out(count);
    for (Lab<D50>& c : out) c = {L(random), ab(random), ab(random)};
    return out;
}

// A rack whose looks are given, one to a spool.
struct Rack {
    Palette palette;
    std::vector<SpoolLook> looks;

    explicit Rack(const std::vector<Lab<D50>>& colours) {
        for (std::size_t i = 0; i < colours.size(); ++i) {
            palette.push_back(spool(std::string("T").append(std::to_string(i)), colours[i]));
            looks.push_back({i, Schedule::finish, 0, colours[i]});
        }
    }
};

std::vector<AskedLook> asked_for(const std::vector<Lab<D50>>& colours) {
    std::vector<AskedLook> out;
    for (std::size_t i = 0; i < colours.size(); ++i) out.push_back({colours[i], 1.0 + static_cast<double>(i % 3)});
    return out;
}

double served_by(const std::vector<Lab<D50>>& looks, const std::vector<AskedLook>& asked, double tolerance) {
    double served = 0, total = 0;
    for (const AskedLook& a : asked) {
        total += a.weight;
        if (std::any_of(looks.begin(), looks.end(),
                        [&](const Lab<D50>& look) { return ciede2000(a.lab, look) <= tolerance; }))
            served += a.weight;
    }
    return served / total;
}

const std::vector<Ground> two_grounds{{"dark", {{18, 0, 0}, Matrix3::identity(), {}}, 0},
                                      {"white", {{92, 0, 2}, Matrix3::identity(), {}}, 1}};
const std::vector<Schedule> two_schedules{Schedule::finish, Schedule::preserver_finish};

}  // namespace

TEST_CASE("What a rack serves, and what it would without some spools, is what counting says") {
    for (const unsigned seed : {1u, 2u, 3u}) {
        const auto looks = colours(60, seed);
        const Rack rack(looks);
        const auto asked = asked_for(colours(500, seed + 10));
        const auto found = audit(rack.palette, rack.looks, asked, 2.5);
        REQUIRE(found);
        CHECK(found->served == Approx(served_by(looks, asked, 2.5)));
        double missing = 0;
        std::size_t open = 0;
        for (const Gap& gap : found->gaps) {
            missing += gap.share, open += gap.looks;
            CHECK(gap.delta_e > 2.5);
            CHECK(gap.worst >= gap.delta_e);
            CHECK(gap.delta_e == Approx(ciede2000(gap.middle, looks[gap.nearest])));
            auto more = looks;
            more.push_back(gap.middle);
            CHECK(served_by(more, asked, 2.5) == Approx(found->served + gap.would_serve));
        }
        CHECK(missing == Approx(1 - found->served));
        CHECK(open > 0);
        CHECK(std::is_sorted(found->gaps.begin(), found->gaps.end(),
                             [](const Gap& x, const Gap& y) { return x.share > y.share; }));

        std::vector<Lab<D50>> kept;
        for (std::size_t i = 0; i < looks.size(); ++i)
            if (!std::count(found->unneeded.begin(), found->unneeded.end(), i)) kept.push_back(looks[i]);
        CHECK(kept.size() < looks.size());
        CHECK(served_by(kept, asked, 2.5) == Approx(found->served));
        // And none of those kept could go as well.
        for (std::size_t i = 0; i < kept.size(); ++i) {
            auto fewer = kept;
            fewer.erase(fewer.begin() + static_cast<std::ptrdiff_t>(i));
            CHECK(served_by(fewer, asked, 2.5) < found->served - 1e-9);
        }
    }
}

TEST_CASE("The buying list is the best of all choices where it says so") {
    for (const unsigned seed : {1u, 2u, 3u, 4u, 5u}) {
        const auto looks = colours(10, seed), offer = colours(12, seed + 100);
        const Rack rack(looks), offered(offer);
        const auto asked = asked_for(colours(120, seed + 200));
        const auto found = audit(rack.palette, rack.looks, asked, 4);
        REQUIRE(found);
        const auto list = buying_list(offered.looks, asked, *found, 3, 4);
        REQUIRE(list);
        CHECK(list->best);
        double best = 0;
        for (std::size_t i = 0; i < offer.size(); ++i)
            for (std::size_t j = i + 1; j < offer.size(); ++j)
                for (std::size_t k = j + 1; k < offer.size(); ++k) {
                    auto all = looks;
                    for (const std::size_t n : {i, j, k}) all.push_back(offer[n]);
                    best = std::max(best, served_by(all, asked, 4));
                }
        CHECK(list->served == Approx(best).margin(1e-5));
        auto all = looks;
        for (const Purchase& p : list->buy) all.push_back(offer[p.spool]);
        CHECK(served_by(all, asked, 4) == Approx(best).margin(1e-5));
        CHECK(list->buy.front().share >= list->buy.back().share);
    }
}

// Two large offers each half covered by two others and a bit more: the greedy choice takes the wrong one first.
TEST_CASE("The buying list is not the greedy one where that is worse") {
    std::vector<AskedLook> asked;
    for (int i = 0; i < 6; ++i) asked.push_back({{50, -50 + 20.0 * i, 0}, 1});
    const Rack rack({{10, 0, 0}});
    const auto found = audit(rack.palette, rack.looks, asked, 1);
    REQUIRE(found);
    std::vector<SpoolLook> offer;
    const auto serves = [&](std::size_t spool, std::initializer_list<std::size_t> which) {
        for (const std::size_t i : which) offer.push_back({spool, Schedule::finish, 0, asked[i].lab});
    };
    asked[1].weight = asked[4].weight = 1.5;
    serves(0, {1, 2, 3, 4});
    serves(1, {0, 1, 2});
    serves(2, {3, 4, 5});
    const auto list = buying_list(offer, asked, *found, 2, 1);
    REQUIRE(list);
    CHECK(list->best);
    CHECK(list->served == Approx(1).margin(1e-5));
    CHECK(list->buy.size() == 2);
    for (const Purchase& p : list->buy) CHECK(p.spool != 0);
}

TEST_CASE("A choice that is too large to prove is told with its bound") {
    const Rack rack({{10, 0, 0}}), offered(colours(400, 5));
    const auto asked = asked_for(colours(6000, 6));
    const auto found = audit(rack.palette, rack.looks, asked, 3);
    REQUIRE(found);
    const auto list = buying_list(offered.looks, asked, *found, 25, 3);
    REQUIRE(list);
    CHECK(list->buy.size() == 25);
    CHECK_FALSE(list->best);
    CHECK(list->bound >= list->served);
    CHECK(list->served >= (1 - std::exp(-1.0)) * list->bound - 1e-5);
}

TEST_CASE("Twins are alike under every schedule and ground, in one material and a like size") {
    const Palette palette{spool("red", {45, 55, 30}),
                          spool("red again", {45.3, 55.2, 30.1}),
                          spool("red, no preserver needed", {45, 55, 30}, Material::ncp_nylon),
                          spool("red, thick", {45, 55, 30}, Material::nylon, 0.25),
                          spool("blue", {35, 5, -40})};
    const auto looks = finished_looks(palette, two_grounds, two_schedules);
    REQUIRE(looks);
    REQUIRE(looks->size() == 20);
    const auto found = audit(palette, *looks, std::vector<AskedLook>{{{40, 50, 28}, 1}});
    REQUIRE(found);
    REQUIRE(found->twins.size() == 1);
    CHECK(found->twins[0].spools == std::vector<std::size_t>{0, 1});
    CHECK(found->twins[0].delta_e < twin_limit);
    CHECK(found->twins[0].delta_e > 0);
}

TEST_CASE("Finished looks are those that the ranking predicts") {
    const Palette palette{spool("red", {45, 55, 30}), spool("blue", {35, 5, -40}, Material::silk, 0.1)};
    const auto looks = finished_looks(palette, two_grounds, two_schedules);
    REQUIRE(looks);
    for (const SpoolLook& look : *looks) {
        const Spool& s = palette[look.spool];
        const auto predicted = predict_finished(s.material, look.schedule, s.size_mm, s.readings[0],
                                                two_grounds[look.ground].colour);
        REQUIRE(predicted);
        CHECK(ciede2000(look.lab, predicted->lab) < 1e-9);
    }

    const CoatModel learned(std::vector<CoatTest>(5, {Material::nylon, Schedule::finish, 0.15, {20, 0, 0}, {45, 55, 30}, {25, 40, 25}}));
    const auto taught = finished_looks(palette, two_grounds, two_schedules, learned);
    REQUIRE(taught);
    for (std::size_t i = 0; i < looks->size(); ++i) {
        const SpoolLook& look = (*taught)[i];
        const Spool& s = palette[look.spool];
        const auto predicted = learned.predict(s.material, look.schedule, s.size_mm, s.readings[0], two_grounds[look.ground].colour);
        REQUIRE(predicted);
        CHECK(look.lab.vector() == predicted->lab.vector());
        // Other kinds may borrow from it.
        if (s.material == Material::nylon && look.schedule == Schedule::finish) CHECK(ciede2000(look.lab, (*looks)[i].lab) > 0.5);
    }
}

TEST_CASE("An audit refuses what makes no sense") {
    const Rack rack(colours(3, 1));
    const auto asked = asked_for(colours(3, 2));
    const double nan = std::nan("");
    CHECK(audit(rack.palette, rack.looks, {}).error().reason == Reason::too_few);
    CHECK(audit(rack.palette, {}, asked).error().reason == Reason::too_few);
    CHECK(audit(rack.palette, rack.looks, asked, nan).error().reason == Reason::bad_value);
    CHECK(audit(rack.palette, rack.looks, asked, 0).error().reason == Reason::bad_value);
    const std::vector<AskedLook> wrong{{{nan, 0, 0}, 1}}, weightless{{{50, 0, 0}, 0}};
    CHECK(audit(rack.palette, rack.looks, wrong).error().reason == Reason::bad_value);
    CHECK(audit(rack.palette, rack.looks, weightless).error().where == "target 1");
    CHECK(finished_looks({}, two_grounds, two_schedules).error().reason == Reason::too_few);
    CHECK(finished_looks(rack.palette, {}, two_schedules).error().reason == Reason::too_few);
    CHECK(finished_looks(rack.palette, two_grounds, {}).error().reason == Reason::too_few);
    const auto found = audit(rack.palette, rack.looks, asked);
    REQUIRE(found);
    CHECK(buying_list({}, asked, *found, 3)->buy.empty());
    CHECK(buying_list(rack.looks, asked, *found, 0)->buy.empty());
}

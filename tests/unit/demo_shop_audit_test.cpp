// The audit on the demo shop, with gaps and twins made on purpose. The shop is invented: this shows that the
// audit finds what is there to be found, and nothing about real racks.
#include <algorithm>
#include <catch2/catch.hpp>
#include <set>

#include "colour/audit.hpp"
#include "colour/words.hpp"
#include "shop/spool_file.hpp"
#include "support/source_dir.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

const std::vector<Ground> grounds{{"dark", {{18, 0, 0}, Matrix3::diagonal({64, 4, 4}), {}}, 0}};
const std::vector<Schedule> schedules{Schedule::finish};

Palette demo_shop() {
    const auto file = load_spool_file(in_source("palettes/demo-shop/spools.json"));
    REQUIRE(file);
    return file->palette();
}

std::vector<SpoolLook> looks_of(const Palette& palette) {
    auto looks = finished_looks(palette, grounds, schedules);
    REQUIRE(looks);
    return *looks;
}

Spool moved(Spool spool, const std::string& code, const Vector3& by) {
    spool.code = code;
    for (Reading& reading : spool.readings)
        reading.lab = {reading.lab.L + by[0], reading.lab.a + by[1], reading.lab.b + by[2]};
    return spool;
}

}  // namespace

TEST_CASE("Spools taken from the demo shop are the gaps that its audit names, and what it says to buy") {
    const Palette whole = demo_shop();
    const auto whole_looks = looks_of(whole);
    // Every look of the shop was asked for once, those that are to go missing two to seven times.
    std::vector<AskedLook> asked;
    for (const SpoolLook& look : whole_looks) asked.push_back({look.lab, 1});
    const auto before = audit(whole, whole_looks, asked);
    REQUIRE(before);
    CHECK(before->served == 1);
    CHECK(before->gaps.empty());
    CHECK(before->twins.empty());

    // Six that stand alone, so that nothing else serves them: every such spool but the first few, in the shop's order.
    std::set<std::size_t> gone;
    const NearestColours index([&] {
        std::vector<Lab<D50>> out;
        for (const SpoolLook& look : whole_looks) out.push_back(look.lab);
        return out;
    }());
    for (std::size_t s = 5; s < whole.size() && gone.size() < 6; s += 3)
        if (index.nearest(whole_looks[s].lab, 2)[1].delta_e > 2 * default_tolerance) gone.insert(s);
    REQUIRE(gone.size() == 6);

    Palette rack, offer;
    double weight = 7, total = 0, missing = 0;
    std::set<std::string> words, codes;
    for (std::size_t s = 0; s < whole.size(); ++s) {
        if (!gone.contains(s)) {
            rack.push_back(whole[s]);
        } else {
            asked[s].weight = weight--;
            missing += asked[s].weight;
            words.insert(colour_words(asked[s].lab));
            codes.insert(whole[s].code);
            // Decoys on both sides, and what the rack holds already.
            offer.push_back(moved(whole[s], whole[s].code + " lighter", {9, 0, 0}));
            offer.push_back(moved(whole[s], whole[s].code + " duller", {-4, 12, 10}));
            offer.push_back(moved(whole[s - 1], whole[s - 1].code + " again", {0, 0, 0}));
            offer.push_back(whole[s]);
        }
        total += asked[s].weight;
    }

    const auto after = audit(rack, looks_of(rack), asked);
    REQUIRE(after);
    CHECK(after->served == Approx(1 - missing / total));
    std::set<std::string> named;
    std::size_t open = 0;
    for (const Gap& gap : after->gaps) named.insert(gap.words), open += gap.looks;
    CHECK(named == words);
    CHECK(open == gone.size());

    const auto list = buying_list(looks_of(offer), asked, *after, gone.size());
    REQUIRE(list);
    CHECK(list->best);
    CHECK(list->served == Approx(1).margin(1e-5));
    std::vector<std::string> bought;
    for (const Purchase& p : list->buy) bought.push_back(offer[p.spool].code);
    CHECK(std::set<std::string>(bought.begin(), bought.end()) == codes);
    // The one that was asked for most comes first.
    CHECK(bought.front() == whole[*gone.begin()].code);
}

TEST_CASE("Twins planted in the demo shop are found, and no others") {
    Palette rack = demo_shop();
    const std::set<std::pair<std::string, std::string>> planted{{rack[3].code, "twin of the fourth"},
                                                                {rack[80].code, "twin of the eighty-first"}};
    rack.push_back(moved(rack[3], "twin of the fourth", {0.3, -0.2, 0.2}));
    rack.push_back(moved(rack[80], "twin of the eighty-first", {-0.2, 0.2, 0.1}));
    rack.push_back(moved(rack[10], "no twin", {5, 3, -3}));
    const auto looks = looks_of(rack);
    const auto found = audit(rack, looks, std::vector<AskedLook>{{looks[3].lab, 1}});
    REQUIRE(found);
    std::set<std::pair<std::string, std::string>> pairs;
    for (const Twins& twins : found->twins) {
        REQUIRE(twins.spools.size() == 2);
        pairs.emplace(rack[twins.spools[0]].code, rack[twins.spools[1]].code);
    }
    CHECK(pairs == planted);
}

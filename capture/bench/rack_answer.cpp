#include "bench/rack_answer.hpp"

#include <cmath>
#include <set>
#include <utility>

#include "reading/reading_json.hpp"
#include "sheet/rack_map.hpp"

namespace bindhue::capture::bench {
namespace {

constexpr double hundredths = 100;

double hundredth(double v) { return std::round(10 * hundredths * v) / 10; }

Answer look_json(const RackAudit& found, std::size_t index) {
    const SpoolLook& look = found.looks[index];
    return {{"spool", found.rack[look.spool].code},
            {"schedule", name(look.schedule)},
            {"coats", coats(look.schedule)},
            {"ground", found.grounds[look.ground].label},
            {"lab", to_json(look.lab)}};
}

// Of looks that would hide each other, in a rack of thousands, one is drawn.
Answer dots(const RackAudit& found, const RackLevel& level) {
    Answer out = Answer::array();
    std::set<std::pair<long, long>> taken;
    for (std::size_t i = 0; i < found.looks.size(); ++i) {
        const Lab<D50>& lab = found.looks[i].lab;
        if (!level.has(lab)) continue;
        const DiscPoint at = on_disc(lab);
        if (!taken.emplace(std::lround(hundredths * at.x), std::lround(hundredths * at.y)).second) continue;
        Answer dot = look_json(found, i);
        dot["x"] = hundredth(at.x);
        dot["y"] = hundredth(at.y);
        dot["screen"] = on_screen(lab);
        out.push_back(std::move(dot));
    }
    return out;
}

}  // namespace

Answer rack_answer(const RackAudit& found, const AuditWish& wish) {
    Answer out = opening("bindhue-bench-rack");
    out["state"] = "done";
    out["served_words"] = served_in_words(found, wish);
    out["rests_words"] = rests_in_words(found);
    out["served"] = found.audit.served;
    out["tolerance"] = wish.tolerance;
    out["asked"] = {{"jobs", wish.jobs}, {"looks", found.asked.size()}};
    out["levels"] = Answer::array();
    for (const RackLevel& level : rack_levels)
        out["levels"].push_back({{"name", level.name},
                                 {"open", open_area(level, found.asked, found.audit, wish.tolerance)},
                                 {"dots", dots(found, level)}});
    Answer rings = Answer::array(), hues = Answer::array();
    for (const double chroma : chroma_rings) rings.push_back({{"chroma", chroma}, {"radius", hundredths * chroma / outermost_chroma}});
    for (const auto& [degrees, word] : hue_names) hues.push_back({{"degrees", degrees}, {"word", word}});
    out["rim"] = {{"rings", std::move(rings)}, {"hues", std::move(hues)}};
    out["gaps"] = Answer::array();
    for (const Gap& gap : found.audit.gaps) {
        if (out["gaps"].size() == most_gaps_shown) break;
        const DiscPoint at = on_disc(gap.middle);
        std::size_t level = 0;
        while (level + 1 < rack_levels.size() && !rack_levels[level].has(gap.middle)) ++level;
        out["gaps"].push_back({{"words", gap.words},
                               {"share", gap.share},
                               {"looks", gap.looks},
                               {"lab", to_json(gap.middle)},
                               {"screen", on_screen(gap.middle)},
                               {"delta_e", gap.delta_e},
                               {"worst_delta_e", gap.worst},
                               {"nearest", look_json(found, gap.nearest)},
                               {"level", level},
                               {"x", hundredth(at.x)},
                               {"y", hundredth(at.y)}});
    }
    out["gaps_in_all"] = found.audit.gaps.size();
    add_rack_findings(out, found);
    return out;
}

}  // namespace bindhue::capture::bench

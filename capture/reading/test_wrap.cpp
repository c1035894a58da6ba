#include "reading/test_wrap.hpp"

#include <algorithm>
#include <array>
#include <iomanip>
#include <sstream>

#include "reading/before_after.hpp"
#include "reading/reading_json.hpp"
#include "shop/grounds.hpp"

namespace bindhue::capture {
namespace {

using nlohmann::ordered_json;

ordered_json to_json(const Estimate& e) { return {{"value", e.value}, {"interval", {e.low, e.high}}}; }

ordered_json to_json(const ColourShift& shift) {
    return {{"L", to_json(shift.L)}, {"a", to_json(shift.a)}, {"b", to_json(shift.b)},
            {"C", to_json(shift.C)}, {"h", shift.h ? to_json(*shift.h) : ordered_json()}, {"delta_e", to_json(shift.delta_e)}};
}

}  // namespace

Result<TestWrap> test_wrap(const TestWrapSide& before, const TestWrapSide& after, const TestWrapSaid& said, const Palette& rack) {
    TestWrap out;
    out.material = said.material;
    out.size_mm = said.size_mm;
    if (!said.spool.empty()) {
        const auto found = std::find_if(rack.begin(), rack.end(), [&](const Spool& s) { return s.code == said.spool; });
        if (found == rack.end())
            return Error{Reason::not_found, "no spool has the code \"" + said.spool + "\"", "--spool", "see bindhue spool list"};
        out.material = found->material;
        out.size_mm = found->size_mm;
        out.opacity = found->opacity;
    }
    const Result<Schedule> known = parse_schedule(said.schedule);
    if (!known || *known == Schedule::none)
        return Error{Reason::bad_value, "\"" + said.schedule + "\" is no coat", "--schedule", "give finish or preserver+finish"};
    out.schedule = *known;
    out.finish = said.finish;

    out.dry = before.typed;
    out.finished = after.typed;
    if (before.read != nullptr || after.read != nullptr) {
        // Where one side is numbers the photo's own wraps decide.
        const TestWrapSide& first = before.read != nullptr ? before : after;
        const TestWrapSide& second = after.read != nullptr ? after : before;
        const Result<WrapPair> pair = same_wrap(*first.read, *second.read, first.band, second.band);
        if (!pair) return pair.error();
        const auto warn = [&](const char* when, const WrapReading& read, std::size_t band) {
            for (const std::string& warning : read.warnings_on(std::array{band})) out.warnings.push_back(std::string(when) + ": " + warning);
        };
        if (before.read != nullptr) {
            out.dry = before.read->bands[pair->before].colour;
            warn("before", *before.read, pair->before);
        }
        if (after.read != nullptr) {
            warn("after", *after.read, pair->after);
            out.finished = after.read->bands[pair->after].colour;
            out.spread = after.read->bands[pair->after].spread;
        }
    }
    std::optional<Reading> blank;
    if (before.read != nullptr) blank = before.read->blank();
    if (!blank && said.ground.empty())
        return Error{Reason::not_found, "what lies under the thread is not known: no bare blank was seen before coating", "--ground",
                     "give the blank's colour as --ground L,a,b"};
    const Result<std::vector<Ground>> under = parse_grounds({said.ground.empty() ? "blank" : said.ground}, blank, rack, out.dry.context);
    if (!under) return under.error();
    out.ground = under->front().colour;
    return out;
}

ordered_json to_json(const TestWrap& read, const CoatCheck& check) {
    return {{"format", "bindhue-coat-check"},
            {"version", 1},
            {"material", name(read.material)},
            {"size_mm", read.size_mm},
            {"schedule", name(read.schedule)},
            {"ground_lab", to_json(read.ground.lab)},
            {"dry_lab", to_json(read.dry.lab)},
            {"finished_lab", to_json(read.finished.lab)},
            {"finished_spread", read.spread ? ordered_json(*read.spread) : ordered_json()},
            {"expected_lab", to_json(check.expected_look.lab)},
            {"expected_covariance", to_json(check.expected_look.covariance)},
            {"coat_tests", check.coat_tests},
            {"shift", to_json(check.measured)},
            {"expected_shift", to_json(check.expected)},
            {"off", to_json(check.off)},
            {"best_estimates_apart", check.best_estimates_apart},
            {"limit", check.limit},
            {"leans", check.leans},
            {"verdict", name(check.verdict)},
            {"warnings", read.warnings}};
}

std::string verdict_in_words(const TestWrap& read, const CoatCheck& check) {
    std::ostringstream out;
    out << std::fixed << std::setprecision(1) << name(check.verdict) << ": the finished wrap is " << check.off.value << " CIEDE2000 (" << check.off.low << " to "
        << check.off.high << ") from what was expected (the best estimates lie " << check.best_estimates_apart << " apart)";
    switch (check.verdict) {
        case CoatVerdict::as_expected:
            out << ", and surely within " << check.limit << ".";
            break;
        case CoatVerdict::not_as_expected:
            out << ", more than readings and expectation err by" << (check.leans.empty() ? "" : "; it is " + check.leans)
                << ".\n  Look for a blotchy or thin coat, preserver that did not seal, another spool, another ground.";
            break;
        case CoatVerdict::cannot_tell:
            out << ", which fits; but a coat that is off by " << check.limit << " could look the same.\n"
                << (check.coat_tests == 0 ? "  The expectation is wide: keep coat tests of this material and schedule (bindhue coat add)."
                                          : "  More coat tests, or readings that are surer, narrow it down.");
            break;
    }
    if (read.spread && *read.spread > most_even_spread)
        out << "\n  The finished wrap is uneven: its colour spreads by " << *read.spread << " (CIELAB) within it, so this is of its usual place. It will not be kept as a coat test.";
    return out.str();
}

std::string expectation_in_words(const CoatCheck& check) {
    if (check.coat_tests == 0) return "The expectation is reckoned from optics, and from tests of other kinds where there are some; no coat test of this material and schedule yet.";
    return "The expectation rests on " + std::to_string(check.coat_tests) + (check.coat_tests == 1 ? " coat test" : " coat tests") + " of this material and schedule.";
}

}  // namespace bindhue::capture

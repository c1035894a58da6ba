#include "bench/answers.hpp"

#include <algorithm>
#include <optional>
#include <vector>

#include "colour/adaptation.hpp"
#include "colour/words.hpp"
#include "reading/reading_json.hpp"
#include "sheet/number.hpp"
#include "sheet/swatch.hpp"
#include "shop/match.hpp"
#include "shop/numbers.hpp"
#include "shop/shop.hpp"

namespace bindhue::capture::bench {
namespace {

Result<double> one_number(const Query& query, const std::string& field, double otherwise, double least,
                          double most) {
    const auto at = query.find(field);
    if (at == query.end()) return otherwise;
    const auto numbers = parse_numbers(at->second, 1, field);
    if (!numbers) return numbers.error();
    if (const double value = numbers->front(); value >= least && value <= most) return value;
    return Error{Reason::bad_value, field + " is out of range", field, formatted("give a number from %g to %g", least, most)};
}

std::vector<std::string> all_of(const Query& query, const std::string& field) {
    std::vector<std::string> out;
    const auto [first, last] = query.equal_range(field);
    for (auto at = first; at != last; ++at)
        if (std::find(out.begin(), out.end(), at->second) == out.end()) out.push_back(at->second);
    return out;
}

}  // namespace

Answer opening(const char* format) { return {{"format", format}, {"version", 1}}; }

// Browsers draw CIELAB themselves where they can.
Answer on_screen(const Lab<D50>& lab) {
    const LinearSrgb exact = to_linear_srgb(adapt<D65>(to_xyz(lab)));
    constexpr double slack = 0.002;  // half a step of 8 bits in the mid tones
    const auto inside = [](double v) { return v >= -slack && v <= 1 + slack; };
    return {{"srgb", screen_hex(lab)},
            {"in_srgb", inside(exact.r) && inside(exact.g) && inside(exact.b)},
            {"words", colour_words(lab)}};
}

Answer error_answer(const Error& error) {
    Answer out = opening("bindhue-bench-error");
    out["what"] = error.what;
    out["where"] = error.where;
    out["mend"] = error.mend;
    return out;
}

Answer shop_answer(const std::filesystem::path& shop, const CardLayout& card) {
    Answer out = opening("bindhue-bench-shop");
    out["card"] = {{"layout", card.name}, {"trust", name(card.trust)}};
    out["schedules"] = Answer::array();
    for (const Schedule schedule : all_schedules) out["schedules"].push_back(name(schedule));
    out["spools"] = Answer::array();
    out["spools_error"] = nullptr;
    const Result<SpoolFile> rack = load_spools(shop);
    if (!rack) {
        out["spools_error"] = error_answer(rack.error());
        return out;
    }
    for (const SpoolEntry& entry : rack->entries) {
        const Reading dry = entry.spool.reading_for({});
        out["spools"].push_back({{"code", entry.spool.code},
                                 {"name", entry.spool.name},
                                 {"material", name(entry.spool.material)},
                                 {"size", entry.spool.size},
                                 {"size_mm", entry.spool.size_mm},
                                 {"lot", entry.spool.lot},
                                 {"metres_left", entry.metres_left ? Answer(*entry.metres_left) : Answer(nullptr)},
                                 {"lab", to_json(dry.lab)},
                                 {"screen", on_screen(dry.lab)}});
    }
    return out;
}

Answer state_answer(const PhotoState& state) {
    Answer out = opening("bindhue-bench-reading");
    if (state.error) {
        out["state"] = "failed";
        out["error"] = error_answer(*state.error);
        // A part of the photo may then be given by hand.
        out["card_was_read"] = state.failed_at == ReadStep::reading_rod;
    } else if (!state.done) {
        out["state"] = state.step ? "reading" : "waiting";
        out["ahead"] = state.ahead;
        if (state.step) {
            out["step"] = static_cast<int>(*state.step) + 1;
            out["steps"] = static_cast<int>(ReadStep::reading_rod) + 1;
            out["doing"] = name(*state.step);
        }
    } else {
        const WrapReading& reading = state.done->reading;
        out["state"] = "done";
        out["picture"] = {{"width_px", state.done->width_px}, {"height_px", state.done->height_px}};
        out["lights"] = Answer::array();
        for (const auto& photo : state.done->photos) out["lights"].push_back(photo->light);
        out["reading"] = to_json(reading);
        for (std::size_t i = 0; i < reading.bands.size(); ++i)
            out["reading"]["bands"][i]["screen"] = on_screen(reading.bands[i].colour.lab);
    }
    return out;
}

Result<Answer> match_answer(const WrapReading& reading, const std::filesystem::path& shop, const Query& query) {
    const auto count = static_cast<double>(reading.bands.size());
    const Result<double> band = one_number(query, "band", 1, 1, count);
    if (!band) return band.error();
    const Result<double> tolerance = one_number(query, "tolerance", 2, 0.1, 20);
    if (!tolerance) return tolerance.error();
    const Result<double> top = one_number(query, "top", 8, 1, 50);
    if (!top) return top.error();
    const Reading& target = reading.bands[static_cast<std::size_t>(*band) - 1].colour;

    MatchWish wish;
    constexpr std::size_t most_grounds = 8;
    wish.grounds = all_of(query, "ground");
    if (wish.grounds.size() > most_grounds)
        return Error{Reason::bad_value, "more than 8 grounds are asked for at once", "ground", "choose fewer"};
    if (query.contains("schedule")) wish.schedules = all_of(query, "schedule");
    wish.tolerance = *tolerance;
    wish.top = static_cast<std::size_t>(*top);
    const Result<RackMatch> found = match_rack(shop, target, reading.blank(), wish);
    if (!found) return found.error();

    Answer out = opening("bindhue-match");
    out["target"] = {{"band", static_cast<int>(*band)},
                     {"lab", to_json(target.lab)},
                     {"covariance", to_json(target.covariance)},
                     {"screen", on_screen(target.lab)}};
    out["tolerance"] = wish.tolerance;
    out["candidates"] = Answer::array();
    for (const Candidate& candidate : found->candidates) {
        Answer row = to_json(candidate, found->rack, found->grounds);
        row["coats"] = coats(candidate.schedule);
        row["screen"] = on_screen(candidate.predicted.lab);
        out["candidates"].push_back(std::move(row));
    }
    return out;
}

}  // namespace bindhue::capture::bench

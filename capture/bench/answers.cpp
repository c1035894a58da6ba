#include "bench/answers.hpp"

#include <algorithm>
#include <optional>
#include <vector>

#include "colour/adaptation.hpp"
#include "colour/words.hpp"
#include "reading/old_finish.hpp"
#include "reading/reading_json.hpp"
#include "sheet/number.hpp"
#include "sheet/swatch.hpp"
#include "shop/colour_json.hpp"
#include "shop/match.hpp"
#include "shop/numbers.hpp"
#include "shop/settings.hpp"
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

// Of ASCII letters; the rest stays.
std::string lower(std::string text) {
    for (char& c : text)
        if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
    return text;
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

std::string one_of(const Query& query, const std::string& field) {
    const auto at = query.find(field);
    return at == query.end() ? "" : at->second;
}

Answer seen(const Reading& reading) {
    return {{"lab", to_json(reading.lab)}, {"covariance", to_json(reading.covariance)}, {"screen", on_screen(reading.lab)}};
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
    out["materials"] = Answer::array();
    for (const Material material : all_materials) out["materials"].push_back(name(material));
    out["spools_error"] = out["settings_error"] = nullptr;
    out["spools_in_all"] = 0;
    const Result<Shop> opened = Shop::open(shop, Access::read);
    if (const Result<SpoolFile> rack = opened ? opened->spools() : Result<SpoolFile>(opened.error()); rack)
        out["spools_in_all"] = rack->entries.size();
    else
        out["spools_error"] = error_answer(rack.error());
    if (opened)
        if (const Result<Settings> settings = load_settings(*opened); !settings) out["settings_error"] = error_answer(settings.error());
    return out;
}

Result<Answer> spools_answer(const std::filesystem::path& shop, const Query& query) {
    const Result<double> top = one_number(query, "top", 500, 1, 500);
    if (!top) return top.error();
    const Result<SpoolFile> rack = load_spools(shop);
    if (!rack) return rack.error();
    const std::string wanted = lower(one_of(query, "find"));
    Answer out = opening("bindhue-bench-spools");
    out["in_all"] = rack->entries.size();
    std::size_t found = 0;
    Answer spools = Answer::array();
    for (const SpoolEntry& entry : rack->entries) {
        const Spool& spool = entry.spool;
        if (!wanted.empty() && lower(spool.code + '\n' + spool.name + '\n' + std::string(name(spool.material)) + '\n' + spool.size + '\n' + spool.lot).find(wanted) == std::string::npos) continue;
        if (static_cast<double>(++found) > *top) continue;
        const Reading dry = spool.reading_for({});
        spools.push_back({{"code", spool.code},
                          {"name", spool.name},
                          {"material", name(spool.material)},
                          {"size", spool.size},
                          {"size_mm", spool.size_mm},
                          {"lot", spool.lot},
                          {"metres_left", entry.metres_left ? Answer(*entry.metres_left) : Answer(nullptr)},
                          {"lab", to_json(dry.lab)},
                          {"screen", on_screen(dry.lab)}});
    }
    out["found"] = found;
    out["spools"] = std::move(spools);
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
    for (const std::string& text : all_of(query, "light")) {
        Illuminant light = Illuminant::D50;
        if (!parse_illuminant(text, light)) return Error{Reason::bad_value, "no light is called " + text, "light", "choose one on the bench page"};
        wish.lights.push_back(light);
    }
    if (one_of(query, "as_new") == "1") {
        const Result<Amber> amber = old_finish({one_of(query, "amber"), one_of(query, "amber_bare"), one_of(query, "amber_coated")}, reading.bands,
                                               {"the share of light", "the place without the old finish", "the place under it"});
        if (!amber) return amber.error();
        wish.old_finish = *amber;
    }
    wish.metallic = reading.bands[static_cast<std::size_t>(*band) - 1].looks.has_value();
    const Result<RackMatch> found = match_rack(shop, target, reading.blank(), wish);
    if (!found) return found.error();

    Answer out = opening("bindhue-match");
    out["target"] = {{"band", static_cast<int>(*band)}};
    out["target"].update(seen(found->target));
    if (wish.old_finish) {
        out["target"]["now"] = seen(target);
        out["target"]["old_finish"] = amber_json(*wish.old_finish);  // as a job keeps it
        out["target"]["transmittance_440"] = wish.old_finish->transmittance();
        out["target"]["transmittance_440_sd"] = wish.old_finish->transmittance_sd();
    }
    if (found->coated_blank) out["coated_blank"] = seen(*found->coated_blank);
    out["tolerance"] = wish.tolerance;
    out["candidates"] = Answer::array();
    for (std::size_t i = 0; i < found->candidates.size(); ++i) {
        const Candidate& candidate = found->candidates[i];
        Answer row = to_json(candidate, found->rack, found->grounds);
        for (std::size_t k = 0; k < wish.lights.size(); ++k) row["lights"].push_back({{"light", name(wish.lights[k])}, {"delta_e", found->in_light[i][k]}});
        row["coats"] = coats(candidate.schedule);
        if (!wish.grounds.empty()) row["ground_asked"] = wish.grounds[candidate.ground];
        row["screen"] = on_screen(candidate.predicted.lab);
        out["candidates"].push_back(std::move(row));
    }
    return out;
}

}  // namespace bindhue::capture::bench

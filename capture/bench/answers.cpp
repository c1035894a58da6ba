#include "bench/answers.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <optional>
#include <vector>

#include "colour/adaptation.hpp"
#include "colour/words.hpp"
#include "reading/reading_json.hpp"
#include "shop/coat_tests.hpp"
#include "shop/grounds.hpp"
#include "shop/numbers.hpp"
#include "shop/shop.hpp"

namespace bindhue::capture::bench {
namespace {

Answer opening(const char* format) { return {{"format", format}, {"version", 1}}; }

// For a screen: sRGB, and whether sRGB has this colour at all (browsers draw CIELAB themselves where they can).
Answer on_screen(const Lab<D50>& lab) {
    const EncodedSrgb shown = to_display(lab);
    const LinearSrgb exact = to_linear_srgb(adapt<D65>(to_xyz(lab)));
    constexpr double slack = 0.002;  // half a step of 8 bits in the mid tones
    const auto inside = [](double v) { return v >= -slack && v <= 1 + slack; };
    std::array<char, 8> hex{};
    const auto byte = [](double v) { return static_cast<unsigned>(std::lround(255 * v)); };
    std::snprintf(hex.data(), hex.size(), "#%02x%02x%02x", byte(shown.r), byte(shown.g), byte(shown.b));
    return {{"srgb", std::string(hex.data())},
            {"in_srgb", inside(exact.r) && inside(exact.g) && inside(exact.b)},
            {"words", colour_words(lab)}};
}

Result<Palette> rack_of(const std::filesystem::path& folder) {
    const Result<Shop> shop = Shop::open(folder, Access::read);
    if (!shop) return shop.error();
    const Result<SpoolFile> spools = shop->spools();
    if (!spools) return spools.error();
    return spools->palette();
}

Result<double> one_number(const Query& query, const std::string& field, double otherwise, double least,
                          double most) {
    const auto at = query.find(field);
    if (at == query.end()) return otherwise;
    const auto numbers = parse_numbers(at->second, 1, field);
    if (!numbers) return numbers.error();
    if (const double value = numbers->front(); value >= least && value <= most) return value;
    char range[64];
    std::snprintf(range, sizeof range, "give a number from %g to %g", least, most);
    return Error{Reason::bad_value, field + " is out of range", field, range};
}

std::vector<std::string> all_of(const Query& query, const std::string& field) {
    std::vector<std::string> out;
    const auto [first, last] = query.equal_range(field);
    for (auto at = first; at != last; ++at)
        if (std::find(out.begin(), out.end(), at->second) == out.end()) out.push_back(at->second);
    return out;
}

}  // namespace

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
    const Result<Palette> rack = rack_of(shop);
    if (!rack) {
        out["spools_error"] = error_answer(rack.error());
        return out;
    }
    for (const Spool& spool : *rack)
        out["spools"].push_back({{"code", spool.code},
                                 {"name", spool.name},
                                 {"material", name(spool.material)},
                                 {"size", spool.size}});
    return out;
}

Answer state_answer(const PhotoState& state) {
    Answer out = opening("bindhue-bench-reading");
    if (state.error) {
        out["state"] = "failed";
        out["error"] = error_answer(*state.error);
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

    const Result<Palette> rack = rack_of(shop);
    if (!rack) return rack.error();
    constexpr std::size_t most_grounds = 8;
    std::vector<std::string> wanted = all_of(query, "ground");
    if (wanted.empty()) wanted.push_back(reading.blank() ? "blank" : "dark");
    if (wanted.size() > most_grounds)
        return Error{Reason::bad_value, "more than 8 grounds are asked for at once", "ground", "choose fewer"};
    const Result<std::vector<Ground>> grounds = parse_grounds(wanted, reading.blank(), *rack, target.context);
    if (!grounds) return grounds.error();
    RankingOptions options;
    options.tolerance = *tolerance;
    options.top = static_cast<std::size_t>(*top);
    std::vector<std::string> coated = all_of(query, "schedule");
    if (coated.empty()) coated = {"finish", "preserver+finish"};
    Result<std::vector<Schedule>> schedules = parse_schedules(coated);
    if (!schedules) return schedules.error();
    options.schedules = std::move(*schedules);
    const Result<CoatTestFile> coat_tests = load_coat_tests(shop);
    if (!coat_tests) return coat_tests.error();
    options.coat_model = CoatModel(coat_tests->tests());
    const Result<std::vector<Candidate>> candidates = rank(target, *rack, *grounds, options);
    if (!candidates) return candidates.error();

    Answer out = opening("bindhue-match");
    out["target"] = {{"band", static_cast<int>(*band)},
                     {"lab", to_json(target.lab)},
                     {"covariance", to_json(target.covariance)},
                     {"screen", on_screen(target.lab)}};
    out["tolerance"] = options.tolerance;
    out["candidates"] = Answer::array();
    for (const Candidate& candidate : *candidates) {
        Answer row = to_json(candidate, *rack, *grounds);
        row["coats"] = coats(candidate.schedule);
        row["screen"] = on_screen(candidate.predicted.lab);
        out["candidates"].push_back(std::move(row));
    }
    return out;
}

}  // namespace bindhue::capture::bench

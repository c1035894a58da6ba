#include <array>
#include <iostream>
#include <memory>

#include "cli/coat.hpp"
#include "colour/beside.hpp"
#include "sheet/swatch.hpp"

namespace bindhue::capture::cli {
namespace {

using nlohmann::ordered_json;

std::string interval(const Estimate& e) { return number("%.1f", e.low) + " to " + number("%.1f", e.high); }

}  // namespace

void BesideArguments::add_to(CLI::App& command) {
    command.add_option("--beside", photos, "Old wrap and new wrap beside each other, in one photo, or in one for each light; with --taken-under for each")
        ->allow_extra_args(false);
    command.add_option("--old-band", old_band, "With --beside: number of the old wrap's band, as bindhue read lists them")->check(CLI::PositiveNumber);
    command.add_option("--new-band", new_band, "With --beside: number of the new wrap's band")->check(CLI::PositiveNumber);
}

std::optional<std::string> BesideArguments::misuse() const {
    if (photos.empty()) return "--old-band and --new-band want a photo: --beside";
    if (old_band == 0 || new_band == 0 || old_band == new_band) return "--beside wants --old-band and --new-band, two bands of the photo";
    return {};
}

// Each photo alone: what parts under a light must not be averaged away.
int BesideArguments::run(const PhotoArguments& how, double tolerance, bool json) const {
    if (how.lights.size() > 1 && how.lights.size() != photos.size())
        return fail({Reason::bad_value, std::to_string(how.lights.size()) + " lights are named for " + std::to_string(photos.size()) + " photos",
                     "--taken-under", "name one light for all photos, or one for each"});
    std::vector<Beside> seen;
    std::vector<std::vector<std::string>> warnings;
    for (std::size_t i = 0; i < photos.size(); ++i) {
        PhotoArguments one = how;
        if (how.lights.size() > 1) one.lights = {how.lights[i]};
        const Result<WrapReading> reading = one.read({photos[i]});
        if (!reading) return fail(reading.error());
        if (std::max(old_band, new_band) > reading->bands.size())
            return fail({Reason::not_found, "there is no band " + std::to_string(std::max(old_band, new_band)) + "; the photo has " + std::to_string(reading->bands.size()),
                         photos[i], "list them with bindhue read; take all photos with the rod lying alike"});
        warnings.push_back(reading->warnings_on(std::array{old_band - 1, new_band - 1}));
        seen.push_back({one.lights.empty() ? std::string() : one.lights[0], reading->bands[old_band - 1].colour, reading->bands[new_band - 1].colour});
    }
    const Result<BesideCheck> check = check_beside(seen, tolerance);
    if (!check) return fail(check.error());
    const auto named = [&](std::size_t i) { return seen[i].light.empty() ? photos[i] : seen[i].light; };
    if (json) {
        ordered_json lights = ordered_json::array();
        for (std::size_t i = 0; i < seen.size(); ++i) {
            const BesideDifference& d = check->differences[i];
            lights.push_back({{"photo", photos[i]},
                              {"light", seen[i].light},
                              {"old_lab", to_json(seen[i].old_wrap.lab)},
                              {"new_lab", to_json(seen[i].new_wrap.lab)},
                              {"delta_e", d.shift.delta_e.value},
                              {"interval", {d.shift.delta_e.low, d.shift.delta_e.high}},
                              {"leans", d.leans},
                              {"verdict", name(d.visible)},
                              {"warnings", warnings[i]}});
        }
        ordered_json out{{"format", "bindhue-coat-beside"}, {"version", 1}, {"tolerance", tolerance}, {"lights", std::move(lights)}};
        if (check->hidden) out["hidden"] = {{"in", check->hidden->in}, {"shown_in", check->hidden->shown_in}};
        print_json(out);
        return done;
    }
    const bool colour = terminal_has_colour();
    Table table({"under", "", "old L* a* b*", "", "new L* a* b*", "CIEDE2000", "95 %", "the new wrap is", ""});
    for (std::size_t i = 0; i < seen.size(); ++i) {
        const BesideDifference& d = check->differences[i];
        table.add({named(i), swatch(seen[i].old_wrap.lab, colour), in_words(seen[i].old_wrap.lab), swatch(seen[i].new_wrap.lab, colour),
                   in_words(seen[i].new_wrap.lab), number("%.1f", d.shift.delta_e.value), interval(d.shift.delta_e), d.leans.empty() ? "-" : d.leans,
                   std::string(name(d.visible))});
    }
    std::cout << table.text();
    for (std::size_t i = 0; i < seen.size(); ++i)
        for (std::string& warning : warnings[i]) warning = named(i) + ": " + warning;
    for (const std::vector<std::string>& of_photo : warnings) print_notes(of_photo);
    std::cout << "\nvisible: more than " << number("%.1f", tolerance) << " CIEDE2000 for certain.\n";
    if (check->hidden)
        std::cout << "WARNING: " << named(check->hidden->in) << " hides a difference that " << named(check->hidden->shown_in)
                  << " shows. The two dyes part under one light: let the owner judge it there, or choose another spool.\n";
    if (seen.size() == 1) std::cout << "Another light may show what this one hides: take a second photo under the bench lamp or at the door.\n";
    for (const Beside& pair : seen)
        if (!pair.old_wrap.context.same_kind(pair.new_wrap.context)) {
            std::cout << "What both readings err by alike cancels only where camera, card and light are known: give --taken-under, and --camera where the file does not say.\n";
            break;
        }
    std::cout << "Judge it by eye in daylight as well.\n";
    return done;
}

}  // namespace bindhue::capture::cli

#include <algorithm>
#include <array>
#include <cstdio>
#include <iostream>

#include "cli/command.hpp"
#include "cli/finish_arguments.hpp"
#include "cli/rack.hpp"
#include "colour/ranking.hpp"
#include "reading/old_finish.hpp"
#include "sheet/swatch.hpp"
#include "shop/match.hpp"
#include "shop/numbers.hpp"

namespace bindhue::capture::cli {
namespace {

struct Target {
    Reading colour;                // as read
    std::string label;             // "band 3 (wrap, 18.2 mm)"
    std::optional<Reading> blank;  // as read in the same photo
    std::optional<Amber> old_finish;  // to be undone
    std::optional<LooksReading> looks;  // of metallic thread
    std::vector<std::string> warnings;  // of the photo and the band
};

// Of each spool once, however often it is ranked.
std::vector<std::string> notes_on(const RackMatch& found) {
    std::vector<std::string> out;
    for (const Candidate& c : found.candidates)
        for (const std::string& note : c.notes) {
            std::string line = found.rack[c.spool].code + ": " + note;
            if (std::ranges::find(out, line) == out.end()) out.push_back(std::move(line));
        }
    return out;
}

std::string transmittance_in_words(const Amber& amber) {
    return number("%.2f", amber.transmittance()) + " +- " + number("%.2f", 1.96 * amber.transmittance_sd());
}

struct MatchCommand {
    PhotoArguments photo;
    std::vector<std::string> paths;
    std::string lab, shop;
    std::size_t band = 0;
    std::vector<std::string> lights;
    bool as_new = false;
    OldFinishSaid aged;
    MatchWish wish;
    FinishArguments finish;
    bool json = false;

    std::optional<std::string> misuse() const {
        if (paths.empty() == lab.empty()) return "match wants either a photo or --lab";
        if (aged.bare.empty() != aged.coated.empty()) return "--amber-bare and --amber-coated go together: one place, without the old finish and under it";
        if (as_new && aged.amber.empty() == aged.bare.empty())
            return "--as-new wants to know how amber the old finish is: either --amber, or --amber-bare and --amber-coated";
        if (!as_new && !(aged.amber.empty() && aged.bare.empty())) return "the amber of the old finish is undone with --as-new alone";
        return {};
    }

    int run() const {
        if (const auto wrong = misuse()) {
            std::cerr << "bindhue: " << *wrong << "\n  what to do: see bindhue match --help\n";
            return wrong_usage;
        }
        const Result<Target> target = find_target();
        if (!target) return fail(target.error());
        const Result<std::filesystem::path> folder = shop_folder(shop);
        if (!folder) return fail(folder.error());
        const Result<FinishUse> use = finish.use();
        if (!use) return fail(use.error());
        MatchWish asked = wish;
        asked.finish = *use;
        asked.old_finish = target->old_finish;
        asked.metallic = target->looks.has_value();
        for (const std::string& text : lights) {
            Illuminant which = Illuminant::D50;
            if (parse_illuminant(text, which)) asked.lights.push_back(which);
        }
        const Result<RackMatch> found = match_rack(*folder, target->colour, target->blank, asked);
        if (!found) return fail(found.error());
        if (json) {
            print_json(document(*target, *found, asked.lights));
        } else {
            print(*target, *found, asked.lights);
        }
        return done;
    }

    Result<Target> find_target() const {
        Target out;
        if (!lab.empty()) {
            const auto numbers = parse_numbers(lab, 3, "--lab");
            if (!numbers) return numbers.error();
            out.colour.lab = Lab<D50>::from({(*numbers)[0], (*numbers)[1], (*numbers)[2]});
            out.colour.covariance = Matrix3::diagonal({0.01, 0.01, 0.01});
            out.label = "the given colour";
            return as_wished(std::move(out), {});
        }
        const Result<WrapReading> reading = photo.read(paths);
        if (!reading) return reading.error();
        const auto& bands = reading->bands;
        std::size_t chosen = band;
        if (chosen == 0) {
            double longest = -1;
            for (std::size_t i = 0; i < bands.size(); ++i)
                if ((bands[i].role == BandRole::wrap || !photo.region.empty()) &&
                    bands[i].length_mm > longest) {
                    longest = bands[i].length_mm;
                    chosen = i + 1;
                }
            if (chosen == 0)
                return Error{Reason::cannot_measure, "only bare blank is seen in the opening", reading->photo,
                             "lay a wrap in the card's opening, or choose a band with --band"};
        }
        if (chosen > bands.size())
            return Error{Reason::not_found,
                         "there is no band " + std::to_string(chosen) + "; the photo has " +
                             std::to_string(bands.size()),
                         reading->photo, "list them with bindhue read"};
        const BandReading& b = bands[chosen - 1];
        out.colour = b.colour;
        out.blank = reading->blank();
        out.looks = b.looks;
        out.warnings = reading->warnings_on(std::array{chosen - 1});
        out.label = "band " + std::to_string(chosen) + " (" + std::string(name(b.role)) + ", " +
                    number("%.1f", b.length_mm) + " mm)";
        return as_wished(std::move(out), bands);
    }

    Result<Target> as_wished(Target target, const std::vector<BandReading>& bands) const {
        if (!as_new) return target;
        const Result<Amber> strength = old_finish(aged, bands, {"--amber", "--amber-bare", "--amber-coated"});
        if (!strength) return strength.error();
        target.old_finish = *strength;
        target.label += ", as new";
        return target;
    }

    nlohmann::ordered_json document(const Target& target, const RackMatch& found, const std::vector<Illuminant>& in) const {
        nlohmann::ordered_json rows = nlohmann::ordered_json::array();
        for (std::size_t i = 0; i < found.candidates.size(); ++i) {
            nlohmann::ordered_json row = to_json(found.candidates[i], found.rack, found.grounds);
            for (std::size_t k = 0; k < in.size(); ++k) row["lights"].push_back({{"light", name(in[k])}, {"delta_e", found.in_light[i][k]}});
            rows.push_back(std::move(row));
        }
        nlohmann::ordered_json out{{"format", "bindhue-match"},
                                   {"version", 1},
                                   {"target",
                                    {{"label", target.label},
                                     {"lab", to_json(found.target.lab)},
                                     {"covariance", to_json(found.target.covariance)}}},
                                   {"tolerance", wish.tolerance},
                                   {"candidates", std::move(rows)}};
        out["target"]["warnings"] = target.warnings;
        if (found.coated_blank)
            out["coated_blank"] = {{"lab", to_json(found.coated_blank->lab)}, {"covariance", to_json(found.coated_blank->covariance)}};
        if (target.old_finish)
            out["target"]["as_new"] = {{"now_lab", to_json(target.colour.lab)},
                                       {"now_covariance", to_json(target.colour.covariance)},
                                       {"transmittance_440", target.old_finish->transmittance()},
                                       {"transmittance_440_sd", target.old_finish->transmittance_sd()},
                                       {"tail_nm", target.old_finish->tail_nm}};
        return out;
    }

    void print(const Target& target, const RackMatch& found, const std::vector<Illuminant>& in) const {
        const bool colour = terminal_has_colour();
        const std::vector<Candidate>& candidates = found.candidates;
        std::cout << "to match: " << target.label << ' ' << swatch(found.target.lab, colour) << " L* a* b* "
                  << in_words(found.target.lab) << "  95 % +- " << spread_in_words(found.target.covariance) << '\n';
        print_notes(target.warnings);
        if (target.looks) std::cout << "Ranked by the colour midway, and thread of another material than metallic will not glitter.\n";
        if (target.old_finish)
            std::cout << "as it is now: " << swatch(target.colour.lab, colour) << " L* a* b* " << in_words(target.colour.lab) << "  95 % +- "
                      << spread_in_words(target.colour.covariance) << "\nThe old finish lets " << transmittance_in_words(*target.old_finish)
                      << " of the light at 440 nm through, once across. Undoing that makes the colour less sure, as its +- say.\n"
                         "Only amber is undone. Is the thread faded too? Then read it where the sun did not reach: under a guide foot, or on the shaded side.\n";
        if (found.coated_blank)
            std::cout << "beside it, the bare blank: " << swatch(target.blank->lab, colour) << " L* a* b* " << in_words(target.blank->lab) << ", and if it is coated too: "
                      << swatch(found.coated_blank->lab, colour) << ' ' << in_words(found.coated_blank->lab) << "  95 % +- " << spread_in_words(found.coated_blank->covariance)
                      << " (the more matte, the deeper)\n";
        std::cout << '\n';
        std::vector<std::string> head{"",          "spool",    "",
                                      "name",      "material", "size",
                                      "schedule",  "ground",   "tests",
                                      "finished L* a* b*",     "CIEDE2000", "expected", "95 %",
                                      "pass",      "leans"};
        for (const Illuminant light : in) head.push_back("in " + std::string(name(light)));
        if (in.size() > 1) head.push_back("worst in");
        Table table(head);
        for (std::size_t i = 0; i < candidates.size(); ++i) {
            const Candidate& c = candidates[i];
            const Spool& spool = found.rack[c.spool];
            std::vector<std::string> row{
                std::to_string(i + 1),
                spool.code,
                swatch(c.predicted.lab, colour),
                spool.name,
                std::string(name(spool.material)),
                spool.size,
                std::string(name(c.schedule)),
                found.grounds[c.ground].label,
                rests_on(c.coat_tests),
                in_words(c.predicted.lab),
                number("%.1f", c.delta_e_at_best),
                number("%.1f", c.delta_e),
                number("%.1f", c.interval_low) + " to " + number("%.1f", c.interval_high),
                number("%.0f %%", 100 * c.pass_chance),
                c.leans.empty() ? "-" : c.leans};
            if (!in.empty()) {
                const std::vector<double>& others = found.in_light[i];
                for (const double difference : others) row.push_back(number("%.1f", difference));
                if (in.size() > 1) row.emplace_back(name(in[static_cast<std::size_t>(std::max_element(others.begin(), others.end()) - others.begin())]));
            }
            table.add(row);
        }
        std::cout << table.text() << '\n';
        print_notes(notes_on(found));
        std::puts("CIEDE2000: between the two colours as they are best guessed, nearest first; expected: as it will be in the mean, since "
                  "neither is sure.");
        std::printf("pass: the chance that the finished wrap is within %.1f CIEDE2000 of the band.\n",
                    wish.tolerance);
        const auto tested = [](const Candidate& c) { return c.coat_tests > 0; };
        std::cout << rests_on_in_words(std::any_of(candidates.begin(), candidates.end(), tested),
                                       !std::all_of(candidates.begin(), candidates.end(), tested))
                  << (in.empty() ? ""
                                     : "in a light: CIEDE2000 of the two colours as they stand, from the smoothest spectra that have them, which is a guess. Whether two "
                                       "dyes part under a light shows only in a second photo, taken under it (bindhue read with both).\n")
                  << "A match is an estimate.\n"
                     "Make a test wrap on scrap of the same blank first, and judge it in daylight.\n"
                     "Uncured resin and hardener can sensitise skin and burn: gloves, eye protection, fresh "
                     "air; follow the maker's data sheet.\n";
    }
};

}  // namespace

void add_match(CLI::App& app, int& exit_code) {
    auto command = std::make_shared<MatchCommand>();
    CLI::App* match = app.add_subcommand(
        "match", "Which spool, coated how, over which ground, will look like this band when finished");
    match->add_option("photo", command->paths,
                      "Photo with the card round the wrap; several of one wrap make one reading");
    match
        ->add_option("--band", command->band,
                     "Number of the band, as bindhue read lists them (default: the longest wrap)")
        ->check(CLI::PositiveNumber);
    match->add_option("--lab", command->lab, "Match this colour instead: L,a,b (CIELAB, D50, 2 degree)");
    command->photo.add_to(*match);
    add_shop_option(*match, command->shop);
    match->add_option(
        "--ground", command->wish.grounds,
        "What lies under the thread: blank (as read), white, dark, underwrap:CODE or L,a,b; may be repeated");
    match->add_option("--schedule", command->wish.schedules, "none, finish or preserver+finish; may be repeated")
        ->capture_default_str();
    match
        ->add_option("--light", command->lights,
                     "The difference under these lights too, and in which it is worst: D50, D65, A, FL2, FL11, LED-B3")
        ->delimiter(',')
        ->check(CLI::Validator(
            [](const std::string& text) {
                Illuminant which = Illuminant::D50;
                return parse_illuminant(text, which)
                           ? std::string()
                           : "no light is called " + text + "; known: D50, D65, A, F2, F11, LED-B3";
            },
            "LIGHT"));
    match->add_flag("--as-new", command->as_new, "Match the band as it looked when its finish was clear, not as it looks now");
    match->add_option("--amber", command->aged.amber,
                      "With --as-new: share of the light at 440 nm that the old finish lets through once across, 0.05 to 1, for example 0.75; or 0.75,0.03 "
                      "with its standard deviation (0.05)");
    match->add_option("--amber-bare", command->aged.bare,
                      "With --as-new: a place without the old finish, such as a white mark or the bare blank: number of a band, or L,a,b");
    match->add_option("--amber-coated", command->aged.coated, "With --as-new: the same under the old finish: number of a band, or L,a,b");
    command->finish.add_to(*match);
    match->add_option("--tolerance", command->wish.tolerance, "Limit of CIEDE2000 for a pass")
        ->check(CLI::Range(0.1, 20.0))
        ->capture_default_str();
    match->add_option("--top", command->wish.top, "How many to show")
        ->check(CLI::Range(1, 1000))
        ->capture_default_str();
    match->add_flag("--json", command->json, "For machines");
    match->footer("Example: bindhue match door.jpg --card my-card.json --ground blank --ground white\n"
                  "         bindhue match door.jpg --card my-card.json --light D65,A,FL11\n"
                  "         bindhue match door.jpg --card my-card.json --as-new --amber-bare 93,-1,2 --amber-coated 88,-3,24");
    match->callback([command, &exit_code] { exit_code = command->run(); });
}

}  // namespace bindhue::capture::cli

#include <algorithm>
#include <cstdio>
#include <iostream>

#include "cli/command.hpp"
#include "cli/rack.hpp"
#include "colour/ranking.hpp"
#include "colour/smoothest.hpp"
#include "colour/spectrum.hpp"
#include "sheet/swatch.hpp"
#include "shop/match.hpp"
#include "shop/numbers.hpp"

namespace bindhue::capture::cli {
namespace {

struct Target {
    Reading colour;
    std::string label;             // "band 3 (wrap, 18.2 mm)"
    std::optional<Reading> blank;  // as read in the same photo
};

struct MatchCommand {
    PhotoArguments photo;
    std::vector<std::string> paths;
    std::string lab, shop;
    std::size_t band = 0;
    std::vector<std::string> lights;
    MatchWish wish;
    bool json = false;

    int run() const {
        if (paths.empty() == lab.empty()) {
            std::cerr
                << "bindhue: match wants either a photo or --lab\n  what to do: see bindhue match --help\n";
            return wrong_usage;
        }
        const Result<Target> target = find_target();
        if (!target) return fail(target.error());
        const Result<std::filesystem::path> folder = shop_folder(shop);
        if (!folder) return fail(folder.error());
        const Result<RackMatch> found = match_rack(*folder, target->colour, target->blank, wish);
        if (!found) return fail(found.error());
        if (json) {
            print_json(document(*target, found->rack, found->grounds, found->candidates));
        } else {
            print(*target, found->rack, found->grounds, found->candidates);
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
            return out;
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
        out.label = "band " + std::to_string(chosen) + " (" + std::string(name(b.role)) + ", " +
                    number("%.1f", b.length_mm) + " mm)";
        return out;
    }

    // CIEDE2000 under other lights, from the smoothest spectra of both colours: what a spectrum could do, not what it does.
    std::vector<std::pair<std::string, double>> under_lights(const Reading& target,
                                                             const Reading& predicted) const {
        std::vector<std::pair<std::string, double>> out;
        const Result<Spectrum> one = smoothest_reflectance(to_xyz(target.lab)),
                               other = smoothest_reflectance(to_xyz(predicted.lab));
        if (!one || !other) return out;
        for (const std::string& text : lights) {
            Illuminant which = Illuminant::D50;
            if (parse_illuminant(text, which))
                out.emplace_back(std::string(name(which)), ciede2000_under(which, *one, *other));
        }
        return out;
    }

    nlohmann::ordered_json document(const Target& target, const Palette& rack,
                                    const std::vector<Ground>& under,
                                    const std::vector<Candidate>& candidates) const {
        nlohmann::ordered_json rows = nlohmann::ordered_json::array();
        for (const Candidate& c : candidates) {
            nlohmann::ordered_json row = to_json(c, rack, under);
            for (const auto& [light, difference] : under_lights(target.colour, c.predicted))
                row["under"][light] = difference;
            rows.push_back(std::move(row));
        }
        return {{"format", "bindhue-match"},
                {"version", 1},
                {"target",
                 {{"label", target.label},
                  {"lab", to_json(target.colour.lab)},
                  {"covariance", to_json(target.colour.covariance)}}},
                {"tolerance", wish.tolerance},
                {"candidates", std::move(rows)}};
    }

    void print(const Target& target, const Palette& rack, const std::vector<Ground>& under,
               const std::vector<Candidate>& candidates) const {
        const bool colour = terminal_has_colour();
        std::cout << "to match: " << target.label << ' ' << swatch(target.colour.lab, colour) << " L* a* b* "
                  << in_words(target.colour.lab) << "  95 % +- " << spread_in_words(target.colour.covariance)
                  << "\n\n";
        std::vector<std::string> head{"",          "spool",    "",
                                      "name",      "material", "size",
                                      "schedule",  "ground",   "tests",
                                      "finished L* a* b*",     "CIEDE2000", "95 %",
                                      "pass",      "leans"};
        for (const std::string& light : lights) head.push_back("in " + light);
        Table table(head);
        std::size_t place = 0;
        for (const Candidate& c : candidates) {
            const Spool& spool = rack[c.spool];
            std::vector<std::string> row{
                std::to_string(++place),
                spool.code,
                swatch(c.predicted.lab, colour),
                spool.name,
                std::string(name(spool.material)),
                spool.size,
                std::string(name(c.schedule)),
                under[c.ground].label,
                rests_on(c.coat_tests),
                in_words(c.predicted.lab),
                number("%.1f", c.delta_e),
                number("%.1f", c.interval_low) + " to " + number("%.1f", c.interval_high),
                number("%.0f %%", 100 * c.pass_chance),
                c.leans.empty() ? "-" : c.leans};
            const auto others = under_lights(target.colour, c.predicted);
            for (const auto& [light, difference] : others) row.push_back(number("%.1f", difference));
            table.add(row);
        }
        std::cout << table.text() << '\n';
        std::printf("pass: the chance that the finished wrap is within %.1f CIEDE2000 of the band.\n",
                    wish.tolerance);
        const auto tested = [](const Candidate& c) { return c.coat_tests > 0; };
        std::cout << rests_on_in_words(std::any_of(candidates.begin(), candidates.end(), tested),
                                       !std::all_of(candidates.begin(), candidates.end(), tested))
                  << (lights.empty() ? ""
                                     : "in another light: from the smoothest spectra of both colours, which is a guess. Whether two dyes part under it shows "
                                       "only in a second photo taken under that light (bindhue read with both).\n")
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
                     "Show the difference under these lights too, for example D65,A,F11")
        ->delimiter(',')
        ->check(CLI::Validator(
            [](const std::string& text) {
                Illuminant which = Illuminant::D50;
                return parse_illuminant(text, which)
                           ? std::string()
                           : "no light is called " + text + "; known: D50, D65, A, F2, F11, LED-B3";
            },
            "LIGHT"));
    match->add_option("--tolerance", command->wish.tolerance, "Limit of CIEDE2000 for a pass")
        ->check(CLI::Range(0.1, 20.0))
        ->capture_default_str();
    match->add_option("--top", command->wish.top, "How many to show")
        ->check(CLI::Range(1, 1000))
        ->capture_default_str();
    match->add_flag("--json", command->json, "For machines");
    match->footer("Example: bindhue match door.jpg --card my-card.json --ground blank --ground white");
    match->callback([command, &exit_code] { exit_code = command->run(); });
}

}  // namespace bindhue::capture::cli

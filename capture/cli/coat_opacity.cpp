#include <array>
#include <cmath>
#include <filesystem>
#include <iostream>
#include <memory>

#include "cli/change_rack.hpp"
#include "cli/coat.hpp"
#include "colour/layer.hpp"
#include "colour/opacity.hpp"
#include "reading/band_or_lab.hpp"
#include "reading/stick.hpp"

namespace bindhue::capture::cli {
namespace {

using nlohmann::ordered_json;

struct OpacityCommand {
    PhotoArguments photo;
    std::vector<std::string> paths;
    std::string shop, spool, black, white, black_ground, white_ground;
    bool json = false;

    std::optional<std::string> misuse() const {
        if (paths.empty() && (black.empty() || white.empty())) return "an opacity wants a photo of the two-tone stick, or --black and --white";
        if (black.empty() != white.empty()) return "--black and --white go together";
        return {};
    }

    int run() const {
        if (const auto wrong = misuse()) {
            std::cerr << "bindhue: " << *wrong << "\n  what to do: see bindhue coat opacity --help\n";
            return wrong_usage;
        }
        std::vector<std::string> warnings;
        const Result<OpacityTest> read = test(warnings);
        if (!read) return fail(read.error());
        std::optional<OpacityFound> kept;
        const int ended = change_rack(
            shop,
            [&](SpoolFile& rack) -> Result<std::string> {
                SpoolEntry* entry = rack.find(spool);
                if (entry == nullptr) return Error{Reason::not_found, "no spool has the code \"" + spool + "\"", "--spool", "see bindhue spool list"};
                OpacityTest whole = *read;
                whole.spool = entry->spool.reading_for(whole.over_black.context);
                const Result<OpacityFound> found = find_opacity(entry->spool.material, entry->spool.size_mm, whole);
                if (!found) return found.error();
                if (!found->as_thread)
                    return Error{Reason::cannot_measure, "no layer of this thread looks so over these two grounds", "--spool",
                                 "check the code, and that one dry layer lies close over black and white, read in one photo"};
                if (found->contrast_ratio > 1.02 + 2 * found->contrast_ratio_sd)
                    return Error{Reason::cannot_measure, "the thread is lighter over black than over white", "--black", "were the two mixed up?"};
                kept = *found;
                entry->spool.opacity = found->layer;
                entry->opacity_note.source = source();
                entry->opacity_note.date = today();
                return "spool " + spool + ": opacity kept";
            },
            json);
        if (ended != done) return ended;
        if (json) {
            print_json(document(*kept, warnings));
        } else {
            print(*kept, *read);
            print_notes(warnings);
        }
        return done;
    }

    // All but the spool's own colour. warnings: of the photo.
    Result<OpacityTest> test(std::vector<std::string>& warnings) const {
        std::vector<BandReading> bands;
        std::array<std::string, 4> places{black, white, black_ground, white_ground};
        if (!paths.empty()) {
            Result<WrapReading> reading = photo.read(paths);
            if (!reading) return reading.error();
            if (const auto across = edges_across(reading->bands); across && black.empty() && photo.edges.empty()) {
                reading = photo.read(paths, across);
                if (!reading) return reading.error();
            }
            warnings = reading->warnings;
            bands = std::move(reading->bands);
            if (black.empty()) {
                const auto stick = find_stick(bands);
                if (!stick)
                    return Error{Reason::cannot_measure,
                                 std::to_string(bands.size()) + " bands are seen, and none in a row as a stick has them: bare, thread, bare, the bare ones black and white", reading->photo,
                                 "say where they meet, measured along the opening from its left edge: --edges 31,45,60 (thread that looks like its ground has no edge "
                                 "that could be found); or name the bands that bindhue read lists with --black, --white, --black-ground and --white-ground"};
                const auto number_of = [](std::size_t which) { return std::to_string(which + 1); };
                places = {number_of(stick->over_black), number_of(stick->over_white), number_of(stick->black), number_of(stick->white)};
            }
        }
        // Numbers that somebody typed are taken as read by an instrument: give or take 0.3 (a guess).
        constexpr double typed = 0.3;
        OpacityTest out;
        // A guess at black and at white paper or paint, where none was read: give or take 4, and 2.
        out.black = {{18, 0, 0}, Matrix3::diagonal({16, 1, 1}), {}};
        out.white = {{93, 0, 1}, Matrix3::diagonal({4, 1, 4}), {}};
        struct {
            const std::string& text;
            const char* option;
            Reading& reading;
        } const parts[] = {{places[0], "--black", out.over_black},
                           {places[1], "--white", out.over_white},
                           {places[2], "--black-ground", out.black},
                           {places[3], "--white-ground", out.white}};
        for (const auto& part : parts) {
            if (part.text.empty()) continue;
            const Result<Reading> found = band_or_lab(part.text, bands, typed, part.option);
            if (!found) return found.error();
            part.reading = *found;
        }
        return out;
    }

    std::string source() const {
        std::string out;
        for (const std::string& path : paths) out += (out.empty() ? "" : ", ") + std::filesystem::path(path).filename().string();
        return "two-tone stick" + (out.empty() ? out : ": " + out);
    }

    ordered_json document(const OpacityFound& found, const std::vector<std::string>& warnings) const {
        return {{"format", "bindhue-coat-opacity"},
                {"version", 1},
                {"spool", spool},
                {"scattering", found.layer.scattering},
                {"log_sd", found.layer.log_sd},
                {"contrast_ratio", found.contrast_ratio},
                {"contrast_ratio_sd", found.contrast_ratio_sd},
                {"warnings", warnings}};
    }

    static void print(const OpacityFound& found, const OpacityTest& read) {
        const double spread = std::exp(1.96 * found.layer.log_sd), S = found.layer.scattering;
        std::cout << "one dry layer: contrast ratio " << number("%.0f %%", 100 * found.contrast_ratio) << " +- " << number("%.0f", 196 * found.contrast_ratio_sd)
                  << " (luminous reflectance over black, as a share of that over white; 100 % hides all)\n"
                  << "scattering S X " << number("%.2f", S) << " (95 %: " << number("%.2f", S / spread) << " to " << number("%.2f", S * spread)
                  << "), by which finished looks of this spool are predicted from now on\n";
        // The same from luminous reflectance alone, without the colour on the spool.
        const auto Y = [](const Reading& r) { return to_xyz(r.lab).Y; };
        if (const auto layer = layer_over_two_grounds(Y(read.over_black), Y(read.black), Y(read.over_white), Y(read.white)))
            std::cout << "from luminous reflectance alone: S X " << number("%.2f", layer->SX) << ", K X " << number("%.2f", layer->KX) << '\n';
        if (found.layer.log_sd > 0.6)
            std::cout << "The colour is so deep that it hides by itself: the test tells little of scattering. A paler thread of this material tells more.\n";
    }
};

}  // namespace

void add_coat_opacity(CLI::App& coat, int& exit_code) {
    auto command = std::make_shared<OpacityCommand>();
    CLI::App* opacity = coat.add_subcommand("opacity", "How much one layer of a thread hides, from a dry wrap across black and white, kept with its spool");
    opacity->add_option("photo", command->paths, "The two-tone stick (bindhue card print --stick) in the card's opening: bare, thread, thread, bare");
    opacity->add_option("--spool", command->spool, "Code of the spool")->required();
    opacity->add_option("--black", command->black, "The thread over black: number of a band, or L,a,b");
    opacity->add_option("--white", command->white, "The thread over white");
    opacity->add_option("--black-ground", command->black_ground, "The bare black ground (default: as of a photo, else 18,0,0, give or take 4)");
    opacity->add_option("--white-ground", command->white_ground, "The bare white ground (default: as of a photo, else 93,0,1, give or take 2)");
    command->photo.add_to(*opacity);
    add_shop_option(*opacity, command->shop);
    opacity->add_flag("--json", command->json, "For machines");
    opacity->footer("Example: bindhue coat opacity stick.jpg --card my-card.json --spool R1-12\n"
                    "         bindhue coat opacity stick.jpg --card my-card.json --spool R1-01 --edges 31,45,60\n"
                    "         bindhue coat opacity --spool R1-12 --black 30,32,18 --white 52,44,27 --black-ground 20,0,0 --white-ground 93,-1,2");
    opacity->callback([command, &exit_code] { exit_code = command->run(); });
}

}  // namespace bindhue::capture::cli

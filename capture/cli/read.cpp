#include <cstdio>
#include <iostream>

#include "cli/command.hpp"
#include "colour/thread_size.hpp"
#include "sheet/reading_picture.hpp"
#include "sheet/swatch.hpp"

namespace bindhue::capture::cli {
namespace {

std::string sizes_in_words(double pitch_mm) {
    std::string out;
    for (const std::string_view size : likely_sizes(pitch_mm)) out += (out.empty() ? "" : " or ") + std::string(size);
    return out.empty() ? "-" : out;
}

void print_reading(const WrapReading& reading) {
    const bool colour = terminal_has_colour();
    Table table({"band", "", "role", "from mm", "length mm", "L*", "a*", "b*", "95 % +-", "pitch mm", "size"});
    for (std::size_t i = 0; i < reading.bands.size(); ++i) {
        const BandReading& band = reading.bands[i];
        const Lab<D50>& lab = band.colour.lab;
        table.add({std::to_string(i + 1), swatch(lab, colour), std::string(name(band.role)),
                   number("%.1f", band.start_mm), number("%.1f", band.length_mm), number("%.1f", lab.L),
                   number("%.1f", lab.a), number("%.1f", lab.b), spread_in_words(band.colour.covariance),
                   band.pitch_mm ? number("%.3f", *band.pitch_mm) : "-", band.pitch_mm ? sizes_in_words(*band.pitch_mm) : "-"});
    }
    if (reading.photos.empty()) {
        std::cout << reading.photo << '\n';
    } else {
        for (const std::string& photo : reading.photos) std::cout << photo << '\n';
    }
    std::cout << '\n' << table.text() << '\n';
    if (reading.blank_diameter_mm)
        std::printf("blank: %.1f mm across at the middle of the opening\n", *reading.blank_diameter_mm);
    const CardReport& card = reading.card;
    std::printf("card: %s, values %s, %.1f px/mm, seen %.0f degrees off square\n", card.layout.c_str(),
                std::string(name(card.trust)).c_str(), card.px_per_mm, card.tilt_deg);
    if (card.check_median >= 0)
        std::printf("check patches, which no fit saw: CIEDE2000 %.1f median, %.1f at worst\n",
                    card.check_median, card.check_max);
    if (card.light)
        std::printf("light: like %s (%.0f %% of the evidence for its kind); %s for colours: thread reads to %.1f CIEDE2000 median, %.1f at the 95th percentile\n",
                    card.light->name.c_str(), 100 * card.light->share, std::string(name(card.light->grade)).c_str(),
                    card.light->forecast_median, card.light->forecast_p95);
    for (const std::string& note : card.dropped) std::cout << "left out: " << note << '\n';
    print_notes(reading.warnings);
    for (std::size_t i = 0; i < reading.bands.size(); ++i)
        for (const std::string& warning : reading.bands[i].warnings)
            std::cout << "note: band " << i + 1 << ": " << warning << '\n';
}

struct ReadCommand {
    PhotoArguments photo;
    std::vector<std::string> paths;
    std::string picture;
    bool json = false;

    int run() const {
        const Result<WrapReading> reading = photo.read(paths);
        if (!reading) return fail(reading.error());
        if (json) {
            print_json(to_json(*reading));
        } else {
            print_reading(*reading);
        }
        if (!picture.empty())
            if (const Status written = write_reading_picture(*reading, picture); !written)
                return fail(written.error());
        return done;
    }
};

}  // namespace

void add_read(CLI::App& app, int& exit_code) {
    auto command = std::make_shared<ReadCommand>();
    CLI::App* read = app.add_subcommand(
        "read", "The bands on the rod in a photo: places, widths and colours, with their uncertainty");
    read->add_option("photo", command->paths,
                     "JPEG, HEIC, PNG, TIFF, DNG or camera raw, with the card round the wrap; several of one "
                     "wrap, under two unlike "
                     "lights too, make one reading")
        ->required();
    command->photo.add_to(*read);
    read->add_option("--picture", command->picture,
                     "Write a PNG of the photo with what was found drawn on it");
    read->add_flag("--json", command->json, "For machines");
    read->footer(
        "Example: bindhue read door.jpg --card my-card.json --picture found.png\n"
        "         bindhue read door.jpg bench.jpg --card my-card.json --taken-under door,tube");
    read->callback([command, &exit_code] { exit_code = command->run(); });
}

}  // namespace bindhue::capture::cli

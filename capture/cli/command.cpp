#include "cli/command.hpp"

#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <iostream>

#include "sheet/swatch.hpp"
#include "shop/card_layout.hpp"
#include "shop/numbers.hpp"

namespace bindhue::capture::cli {

int fail(const Error& error) {
    std::cerr << "bindhue: ";
    if (!error.where.empty()) std::cerr << error.where << ": ";
    std::cerr << error.what << '\n';
    if (!error.mend.empty()) std::cerr << "  what to do: " << error.mend << '\n';
    switch (error.reason) {
        case Reason::bad_format:
        case Reason::bad_value:
        case Reason::not_found:
            return unreadable_input;
        case Reason::too_few:
        case Reason::cannot_measure:
            return cannot_measure;
        case Reason::storage:
            return storage_failed;
    }
    return storage_failed;
}

Result<CardLayout> card_from(const std::string& path) {
    return path.empty() ? Result<CardLayout>(bench_card()) : load_card_layout(path);
}

Result<std::optional<std::array<PixelPoint, 4>>> corners_from(const std::string& text, const std::string& option) {
    std::optional<std::array<PixelPoint, 4>> out;
    if (text.empty()) return out;
    const auto numbers = parse_numbers(text, 8, option);
    if (!numbers) return numbers.error();
    out.emplace();
    for (std::size_t i = 0; i < 4; ++i) (*out)[i] = {(*numbers)[2 * i], (*numbers)[2 * i + 1]};
    return out;
}

bool may_write(const std::string& path, bool replace) {
    std::error_code unseen;
    if (replace || !std::filesystem::exists(path, unseen)) return true;
    fail({Reason::bad_value, "This file is there already.", path, "Give another name with --out, or say --replace: the version before is then kept beside it."});
    return false;
}

void PhotoArguments::add_card_to(CLI::App& command) {
    command.add_option("--card", card,
                       "Layout file of the card in the photo (default: our bench card, nominal values)");
    command
        .add_option("--taken-under", lights,
                    "Name of the light that the photo was taken under, kept with the reading; with "
                    "several photos one name for all, or one each: door,tube")
        ->delimiter(',')
        ->allow_extra_args(false);  // else it takes the photos after it for lights
    command.add_option("--camera", camera, "Name of the camera, kept with the reading where the photo does not say it");
    command.add_flag("--linear", linear, "The file holds linear camera RGB (16 bits, no tone curve); if it is not said, the card's grey steps tell");
}

void PhotoArguments::add_to(CLI::App& command) {
    add_card_to(command);
    command.add_option("--corners", corners,
                       "The card's corners in the photo, x,y four times: upper left, upper right, lower "
                       "right, lower left as the card is read");
    command.add_option("--region", region,
                       "Read this part of the photo, x,y,width,height in pixels, and look for no rod");
    command.add_option("--edges", edges, "Where bands meet, mm,mm,... from the opening's left edge, instead of where they are found");
}

Result<ReadOptions> PhotoArguments::options() const {
    ReadOptions out;
    Result<CardLayout> layout = card_from(card);
    if (!layout) return layout.error();
    out.layout = std::move(*layout);
    out.linear = linear;
    out.camera = camera;
    const auto pointed_at = corners_from(corners, "--corners");
    if (!pointed_at) return pointed_at.error();
    out.corners = *pointed_at;
    if (!region.empty()) {
        const auto numbers = parse_numbers(region, 4, "--region");
        if (!numbers) return numbers.error();
        out.region = PixelRegion{(*numbers)[0], (*numbers)[1], (*numbers)[2], (*numbers)[3]};
    }
    if (!edges.empty()) {
        const auto count = static_cast<std::size_t>(std::count(edges.begin(), edges.end(), ',')) + 1;
        const auto numbers = parse_numbers(edges, count, "--edges");
        if (!numbers) return numbers.error();
        out.edges_mm = *numbers;
    }
    return out;
}

Result<WrapReading> PhotoArguments::read(const std::vector<std::string>& paths, std::optional<std::vector<double>> edges_mm) const {
    Result<ReadOptions> how = options();
    if (!how) return how.error();
    if (edges_mm) how->edges_mm = std::move(edges_mm);
    if (lights.size() > 1 && lights.size() != paths.size())
        return Error{Reason::bad_value,
                     std::to_string(lights.size()) + " lights are named for " + std::to_string(paths.size()) +
                         " photos",
                     "--taken-under", "name one light for all photos, or one for each"};
    std::vector<PhotoToRead> photos;
    for (std::size_t i = 0; i < paths.size(); ++i)
        photos.push_back({paths[i], lights.empty() ? std::string() : lights[lights.size() == 1 ? 0 : i]});
    return read_photos(photos, *how);
}

void print_json(const nlohmann::ordered_json& document) { std::cout << document.dump(2) << '\n'; }

std::string in_words(const Lab<D50>& lab) {
    return formatted("%5.1f %6.1f %6.1f", lab.L, lab.a, lab.b);
}

std::string spread_in_words(const Matrix3& covariance) {
    const auto half = [&](std::size_t i) { return 1.96 * std::sqrt(std::max(0.0, covariance(i, i))); };
    return formatted("%.1f %.1f %.1f", half(0), half(1), half(2));
}

void print_notes(const std::vector<std::string>& notes) {
    for (const std::string& note : notes) std::cout << "note: " << harmless(note) << '\n';
}

bool terminal_has_colour() {
    const char* depth = std::getenv("COLORTERM");
    const std::string colours = depth == nullptr ? "" : depth;
    return isatty(STDOUT_FILENO) != 0 && (colours == "truecolor" || colours == "24bit") &&
           std::getenv("NO_COLOR") == nullptr;
}

}  // namespace bindhue::capture::cli

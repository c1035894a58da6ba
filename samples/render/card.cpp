#include "card.hpp"

#include <algorithm>
#include <cmath>
#include <fstream>
#include <opencv2/aruco.hpp>
#include <random>
#include <stdexcept>

#include "ink.hpp"

namespace bindhue::render {
namespace {

constexpr std::uint8_t paper_print = 0, black_print = 1;

void fill(CardPrint& card, double x, double y, double w, double h, std::uint8_t print) {
    const auto cell = [](double mm, long limit) {
        return std::lround(std::clamp(mm * CardPrint::cells_per_mm, 0.0, static_cast<double>(limit)));
    };
    const long right = cell(x + w, card.columns), bottom = cell(y + h, card.rows);
    for (long j = cell(y, card.rows); j < bottom; ++j)
        for (long i = cell(x, card.columns); i < right; ++i)
            card.raster[static_cast<std::size_t>(j * card.columns + i)] = print;
}

void draw_marker(CardPrint& card, int id, double x, double y, double size) {
    cv::Mat modules;
    cv::aruco::drawMarker(cv::aruco::getPredefinedDictionary(cv::aruco::DICT_4X4_50), id, 6, modules, 1);
    const double module = size / 6;
    for (int r = 0; r < 6; ++r)
        for (int c = 0; c < 6; ++c)
            if (modules.at<std::uint8_t>(r, c) == 0)
                fill(card, x + c * module, y + r * module, module, module, black_print);
}

}  // namespace

CardPrint card_from(const std::string& path, const Printer& printer) {
    std::ifstream in(path);
    if (!in)
        throw std::runtime_error(path + ": can't be read (run from the top of the project, or give --card)");
    CardPrint card;
    try {
        card.layout = nlohmann::json::parse(in);
        const auto& layout = card.layout;
        card.width_mm = layout.at("size_mm").at(0), card.height_mm = layout.at("size_mm").at(1);
        card.opening_mm = layout.at("opening_mm");
        if (!(card.width_mm > 0 && card.width_mm < 1000 && card.height_mm > 0 && card.height_mm < 1000))
            throw std::runtime_error(path + ": size_mm must lie between 0 and 1000");
        card.columns = std::lround(card.width_mm * CardPrint::cells_per_mm);
        card.rows = std::lround(card.height_mm * CardPrint::cells_per_mm);
        card.raster.assign(static_cast<std::size_t>(card.columns * card.rows), paper_print);
        card.prints = {paper(printer), printed({0, 0, 0, 100}, printer)};
        if (layout.at("patches").size() > 120) throw std::runtime_error(path + ": more than 120 patches");
        for (const auto& patch : layout.at("patches")) {
            const std::array<double, 4> rect = patch.at("rect_mm");
            const std::array<double, 4> ink = patch.at("ink_percent");
            fill(card, rect[0], rect[1], rect[2], rect[3], static_cast<std::uint8_t>(card.prints.size()));
            card.prints.push_back(patch.at("role") == "trap" ? black_trap() : printed(ink, printer));
        }
        for (const auto& marker : layout.at("fiducials").at("markers")) {
            const std::array<double, 4> rect = marker.at("rect_mm");
            draw_marker(card, marker.at("id"), rect[0], rect[1], rect[2]);
        }
        const auto& scale = layout.at("scale_mm");
        const double x0 = scale.at("start").at(0), y0 = scale.at("start").at(1), length = scale.at("length");
        for (int mm = 0; mm <= std::min(length, card.width_mm); ++mm) {
            const double height = mm % 10 == 0 ? 1.0 : mm % 5 == 0 ? 0.75 : 0.5;
            fill(card, x0 + mm - 0.075, y0, 0.15, height, black_print);
        }
    } catch (const nlohmann::json::exception& e) {
        throw std::runtime_error(path + ": not a card layout: " + e.what());
    }
    return card;
}

void lay_beside(CardPrint& card, const CardPrint& other, double x_mm, double y_mm) {
    if (!(x_mm >= 0 && y_mm >= 0 && x_mm <= 500 && y_mm <= 500) || (x_mm < card.width_mm && y_mm < card.height_mm))
        throw std::runtime_error("the card beside must lie to the right of the card or below, within 500 mm");
    const CardPrint alone = card;
    card.beside_mm = {x_mm, y_mm, other.width_mm, other.height_mm};
    card.columns = std::lround(std::max(alone.width_mm, x_mm + other.width_mm) * CardPrint::cells_per_mm);
    card.rows = std::lround(std::max(alone.height_mm, y_mm + other.height_mm) * CardPrint::cells_per_mm);
    card.raster.assign(static_cast<std::size_t>(card.columns * card.rows), paper_print);
    const auto put = [&](const CardPrint& from, long left, long top, std::size_t first_print) {
        for (long j = 0; j < std::min(from.rows, card.rows - top); ++j)
            for (long i = 0; i < std::min(from.columns, card.columns - left); ++i)
                card.raster[static_cast<std::size_t>((top + j) * card.columns + left + i)] =
                    static_cast<std::uint8_t>(first_print + from.raster[static_cast<std::size_t>(j * from.columns + i)]);
    };
    put(alone, 0, 0, 0);
    put(other, std::lround(x_mm * CardPrint::cells_per_mm), std::lround(y_mm * CardPrint::cells_per_mm), alone.prints.size());
    card.prints.insert(card.prints.end(), other.prints.begin(), other.prints.end());
}

nlohmann::json measured(const CardPrint& card, std::uint64_t seed) {
    std::mt19937_64 random(seed);
    std::uniform_real_distribution<double> spread(-1, 1);
    nlohmann::json out = card.layout;
    out["trust"] = "measured";
    out["note"] =
        "The sample photographs' card: the layout of calibration/card.json in invented inks, as a virtual "
        "spectrophotometer reads it.";
    out["source"] = "a rendered card, not a real print: reflectance factors, 45:0, 380 to 780 nm by 5 nm";
    for (std::size_t i = 0; i < card.layout.at("patches").size(); ++i) {
        const Spectrum& truth = card.prints[i + 2];
        const Lab aim = lab_d50(truth);
        Spectrum read;
        Lab lab;
        double gain = 0.003, offset = 0.0002;
        // An instrument errs smoothly along the wavelengths: a gain, a tilt and a bend, and stray light.
        do {
            const double g = gain * spread(random), tilt = gain * spread(random),
                         bend = gain * spread(random), stray = offset * std::abs(spread(random));
            for (std::size_t b = 0; b < band_count; ++b) {
                const double z = (wavelength_nm(b) - 580.0) / 200.0;
                read[b] =
                    std::round(1e5 * (truth[b] * (1 + g + tilt * z + bend * (z * z - 0.4)) + stray)) / 1e5;
            }
            lab = lab_d50(read);
            gain *= 0.95, offset *= 0.95;
        } while (std::abs(lab[0] - aim[0]) > 0.2 || std::abs(lab[1] - aim[1]) > 0.2 ||
                 std::abs(lab[2] - aim[2]) > 0.2);
        auto& patch = out["patches"][i];
        patch["lab"] = {std::round(100 * lab[0]) / 100, std::round(100 * lab[1]) / 100,
                        std::round(100 * lab[2]) / 100};
        patch["spectrum"] = {{"start_nm", 380}, {"step_nm", 5}, {"values", read.at}};
    }
    return out;
}

}  // namespace bindhue::render

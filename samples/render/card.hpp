// The card's layout, and where on its face which print lies.
#pragma once

#include <array>
#include <cstdint>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "ink.hpp"
#include "spectrum.hpp"

namespace bindhue::render {

struct CardPrint {
    nlohmann::json layout;  // as read
    double width_mm = 0, height_mm = 0;
    std::array<double, 4> opening_mm{};
    std::array<double, 4> beside_mm{};  // where another card lies in the same plane, its opening not cut out; of no width if none does
    std::vector<Spectrum> prints;  // 0 is the paper, 1 solid black, then one a patch in the layout's order

    // The print at a place on the face; outside the face 0.
    std::size_t print_at(double x_mm, double y_mm) const {
        const auto i = static_cast<long>(x_mm * cells_per_mm), j = static_cast<long>(y_mm * cells_per_mm);
        if (i < 0 || j < 0 || i >= columns || j >= rows) return 0;
        return raster[static_cast<std::size_t>(j * columns + i)];
    }
    bool on_face(double x, double y) const {
        if (x >= 0 && y >= 0 && x <= width_mm && y <= height_mm) return !in_opening(x, y);
        return beside_mm[2] > 0 && x >= beside_mm[0] && y >= beside_mm[1] && x <= beside_mm[0] + beside_mm[2] && y <= beside_mm[1] + beside_mm[3];
    }
    bool in_opening(double x, double y) const {
        return x > opening_mm[0] && y > opening_mm[1] && x < opening_mm[0] + opening_mm[2] &&
               y < opening_mm[1] + opening_mm[3];
    }

    static constexpr double cells_per_mm = 20;
    long columns = 0, rows = 0;
    std::vector<std::uint8_t> raster;
};

// The layout as a printer prints it. Throws std::runtime_error when the file can't be read or isn't a card layout.
CardPrint card_from(const std::string& path, const Printer& printer = {});

// Puts another card down, its upper left corner at x, y: to the right of the card or below. Throws std::runtime_error where it would lie over it
// or out of reach.
void lay_beside(CardPrint& card, const CardPrint& other, double x_mm, double y_mm);

// The layout as a spectrophotometer would give it: each patch's `spectrum` and `lab` (0.2 per axis at most
// from the truth).
nlohmann::json measured(const CardPrint& card, std::uint64_t seed);

}  // namespace bindhue::render

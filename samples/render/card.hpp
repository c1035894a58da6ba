// The card's layout, and where on its face which print lies.
#pragma once

#include <array>
#include <cstdint>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "spectrum.hpp"

namespace bindhue::render {

struct CardPrint {
    nlohmann::json layout;  // as read
    double width_mm = 0, height_mm = 0;
    std::array<double, 4> opening_mm{};
    std::vector<Spectrum> prints;  // 0 is the paper, 1 solid black, then one a patch in the layout's order

    // The print at a place on the face; outside the face 0.
    std::size_t print_at(double x_mm, double y_mm) const {
        const auto i = static_cast<long>(x_mm * cells_per_mm), j = static_cast<long>(y_mm * cells_per_mm);
        if (i < 0 || j < 0 || i >= columns || j >= rows) return 0;
        return raster[static_cast<std::size_t>(j * columns + i)];
    }
    bool on_face(double x, double y) const {
        return x >= 0 && y >= 0 && x <= width_mm && y <= height_mm && !in_opening(x, y);
    }
    bool in_opening(double x, double y) const {
        return x > opening_mm[0] && y > opening_mm[1] && x < opening_mm[0] + opening_mm[2] &&
               y < opening_mm[1] + opening_mm[3];
    }

    static constexpr double cells_per_mm = 20;
    long columns = 0, rows = 0;
    std::vector<std::uint8_t> raster;
};

// Throws std::runtime_error when the file can't be read or isn't a card layout.
CardPrint card_from(const std::string& path);

// The layout as a spectrophotometer would give it: each patch's `spectrum` and `lab` (0.2 per axis at most
// from the truth).
nlohmann::json measured(const CardPrint& card, std::uint64_t seed);

}  // namespace bindhue::render

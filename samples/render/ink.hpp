// The printed card as light meets it: paper, four inks and a black trap.
#pragma once

#include <array>
#include <cstdint>

#include "spectrum.hpp"

namespace bindhue::render {

// One printer, its inks and its paper. 0 is the model that the card was designed for; any other number is a home printer as they differ: its
// inks stronger or weaker and of shifted hue, dots that spread otherwise, whiter or creamier paper. Invented.
struct Printer {
    std::uint64_t number = 0;
    // Optical brightener in its paper, in light with as much ultraviolet as D50 has: the blue that it sends out besides, at its peak, as a share of a perfect white.
    double brightener = 0;
};

// Yule-Nielsen-Neugebauer with n = 2 (Yule and Nielsen, TAGA Proc. 3 (1951) 65; Neugebauer, Z. wiss. Photogr.
// 36 (1937) 73) and Demichel's area shares. cyan, magenta, yellow, black in percent of area, 0..100. The inks
// and the paper are invented.
Spectrum printed(const std::array<double, 4>& ink_percent, const Printer& printer = {});
Spectrum paper(const Printer& printer = {});
Spectrum black_trap();  // a hole lined with dark cloth: 0.2 %

}  // namespace bindhue::render

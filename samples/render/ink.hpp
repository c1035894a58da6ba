// The printed card as light meets it: paper, four inks and a black trap.
#pragma once

#include <array>

#include "spectrum.hpp"

namespace bindhue::render {

// Yule-Nielsen-Neugebauer with n = 2 (Yule and Nielsen, TAGA Proc. 3 (1951) 65; Neugebauer, Z. wiss. Photogr.
// 36 (1937) 73) and Demichel's area shares. cyan, magenta, yellow, black in percent of area, 0..100. The inks
// and the paper are invented.
Spectrum printed(const std::array<double, 4>& ink_percent);
Spectrum paper();
Spectrum black_trap();  // a hole lined with dark cloth: 0.2 %

}  // namespace bindhue::render

// The printable card, true to size: what to print, cut out and hold beside the rod.
//
// The first page holds the card, a line to check the print's size and how to make a card of it; the next a
// black mask to cut out for round the lens and a key to the patches. Everything is drawn as lines and areas,
// at the places of the layout to a hundredth of a millimetre.
//
// Colours are sRGB (IEC 61966-2-1), relative to the paper: the layout's lightest grey patch, if its L is 85
// or more, is bare paper. Colours beyond sRGB are clipped. What a printer makes of them is its own affair: a
// print's values are nominal until it is measured.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "colour/result.hpp"
#include "shop/card_layout.hpp"
#include "shop/settings.hpp"

namespace bindhue::capture {

// The page lies on its long side: 297 x 210 mm, 279.4 x 215.9 mm.

// Where the card's upper left corner lies on the first page.
inline constexpr CardPoint card_on_sheet{12, 24};

// Error: bad_value if the card does not fit the paper.
Result<std::string> card_sheet_pdf(const CardLayout& card, Paper paper);

// One document to a page; width and height are in millimetres.
Result<std::vector<std::string>> card_sheet_svg(const CardLayout& card, Paper paper);

// A .pdf or .svg by the ending of the path. Of an SVG the first page takes the path itself, the others
// PATH-2.svg and so on. Errors: bad_value (another ending, or as above); storage.
Status write_card_sheet(const CardLayout& card, const std::filesystem::path& path, Paper paper);

// Sleeves of a two-tone test stick, true to size, half black and half white, to be rolled round a dowel: two to a sheet. Thread wound across the middle of
// such a stick tells how much one layer hides (bindhue coat opacity).
inline constexpr double stick_sleeve_mm = 110, stick_overlap_mm = 5;  // along the dowel; what the sleeve is longer than the way round
inline constexpr double least_dowel_mm = 3, largest_dowel_mm = 16;    // diameters
inline constexpr CardPoint first_sleeve_on_sheet{12, 24};             // upper left corner

// Error: bad_value for another diameter.
Result<std::string> stick_sheet_pdf(double dowel_mm, Paper paper);
// As write_card_sheet.
Status write_stick_sheet(double dowel_mm, const std::filesystem::path& path, Paper paper);

}  // namespace bindhue::capture

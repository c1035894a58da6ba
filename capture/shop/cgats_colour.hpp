// The colours in a table of measured samples (shop/cgats.hpp), whichever way the file gives them.
//
// LAB_L LAB_A LAB_B, or LAB_L LAB_C LAB_H, or XYZ_X XYZ_Y XYZ_Z (Y = 100 for white): for D50 and the 2-degree observer, refused where the file
// states another and has no spectra. Or spectra: SPECTRAL_NM400 and so on (also nm400, SPECTRAL_PCT400, SPECTRAL_DEC400), at even steps of at
// most 20 nm over 400 to 700 nm, whose colour is reckoned as colour/spectrum.hpp tells.
#pragma once

#include <string>
#include <vector>

#include "colour/result.hpp"
#include "colour/spaces.hpp"
#include "shop/card_layout.hpp"
#include "shop/cgats.hpp"

namespace bindhue::capture {

struct CgatsColours {
    enum class From { lab, xyz, spectra } from = From::lab;
    std::string field;                          // the first one that they come from, as the file has it
    std::vector<Lab<D50>> labs;                 // one a set
    std::vector<TabulatedReflectance> spectra;  // one a set, as parts of 1, nothing below 0; empty unless from spectra
};

// What to go by in a file that has colours for D50 and 2 degree and spectra too.
enum class CgatsFirst { colours, spectra };

// Notes: the file does not say for which light its colours are, or whether its spectra are percent. Errors: bad_format (no colour; wavelengths
// uneven or too few), bad_value (another light or observer, a number, with its line).
Result<CgatsColours> read_cgats_colours(const CgatsTable& table, const std::string& where, CgatsFirst first, std::vector<std::string>& notes);

// SPECTRAL_NM400 and its like.
bool is_spectral_field(const std::string& field);

}  // namespace bindhue::capture

// Spools as CGATS text (shop/cgats.hpp), in and out of the rack: what an instrument's program writes, or another shop.
//
// A set is a reading of the spool SAMPLE_ID (SAMPLE_NAME its name), dry thread. Its colour is LAB_L LAB_A LAB_B, or LAB_L LAB_C LAB_H, or
// XYZ_X XYZ_Y XYZ_Z (Y = 100 for white), all for D50 and the 2-degree observer (refused where the file states another), or else spectra:
// SPECTRAL_NM400 and so on (also nm400, SPECTRAL_PCT400, SPECTRAL_DEC400), at even steps of at most 20 nm over 400 to 700 nm, whose colour is
// reckoned as colour/spectrum.hpp tells. Standard deviations are STDEV_L STDEV_A STDEV_B.
// Fields of our own, in a table or before it as keywords for all its sets: THREAD_MATERIAL, THREAD_SIZE_MM, THREAD_SIZE, DYE_LOT, CAMERA,
// CARD, LIGHT, SOURCE (else INSTRUMENTATION), READING_DATE; only as fields METRES_LEFT, PAST, VAR_L, VAR_A, VAR_B, COV_LA, COV_LB, COV_AB and
// the six with SHARED_ before them.
#pragma once

#include <string>
#include <string_view>

#include "colour/result.hpp"
#include "shop/spool_table.hpp"

namespace bindhue::capture {

// Errors and warnings as read_spool_table, with lines and the file's own names of fields.
Result<SpoolTable> read_spool_cgats(std::string_view text, const std::string& where, const SpoolDefaults& defaults = {});

// All of a rack but the fields that spools.json does not know; read back it is the same to the last digit. In tables of 30,000 sets, which other
// readers can hold. Error: bad_value for a text that the format cannot hold, with the spool.
Result<std::string> write_spool_cgats(const SpoolFile& file);

}  // namespace bindhue::capture

// A colour as somebody says it of a reading.
#pragma once

#include <string>
#include <vector>

#include "colour/reading.hpp"
#include "colour/result.hpp"
#include "reading/reading.hpp"

namespace bindhue::capture {

// The number of one of the bands, from 1, or L,a,b with that standard deviation on each axis. `where` names the text in errors. Errors: not_found (no
// such band), bad_value.
Result<Reading> band_or_lab(const std::string& text, const std::vector<BandReading>& bands, double sd, const std::string& where);

}  // namespace bindhue::capture

// A list of the wraps of a job, as a table.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "colour/job.hpp"
#include "colour/result.hpp"

namespace bindhue::capture {

// Columns width_mm, diameter_mm, pitch_mm, and, if they are there, thread_mm (as the pitch if not), underwrap_mm, layers,
// count (1 to 1000), replaces (the number of a band of the old rod), spool, schedule
// and ground (see check_ground). `where` names the text in errors. Errors: bad_format, bad_value.
Result<std::vector<WantedBand>> read_band_table(std::string_view text, const std::string& where);

}  // namespace bindhue::capture

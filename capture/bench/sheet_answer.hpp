// The job sheet of what was chosen on the page.
#pragma once

#include <filesystem>
#include <string>

#include "bench/answers.hpp"
#include "colour/result.hpp"

namespace bindhue::capture::bench {

// HTML. Query: `wrap`, one for each wrap that was chosen, as BAND|SCHEDULE|UNDERWRAPS|SPOOL (for example 3|finish|0|R1-12), `name` of the
// job. Pitch and widths are those that were read; a pitch that was not read is the thread's diameter. Errors: bad_value, not_found, storage.
Result<std::string> sheet_answer(const WrapReading& reading, const std::filesystem::path& shop, const Query& query);

}  // namespace bindhue::capture::bench

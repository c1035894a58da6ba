// Dry thread that was read on the page, into the rack.
#pragma once

#include <filesystem>

#include "bench/answers.hpp"

namespace bindhue::capture::bench {

// Keeps the bands' readings with their spools, as `bindhue spool enrol` does: all, or none where one has drifted beyond chance. Form: `spool`, one for each band
// to keep, as BAND|CODE (band from 1); of spools that are new `name`, `material`, `size`, `size_mm`, `lot`, `metres_left`; `changed` 1 where the thread itself
// has changed. Answers what the command's JSON has, each spool with its colour for a screen, and where nothing was kept `refused` {what, mend}. Errors:
// bad_value, not_found, storage.
Result<Answer> enrol_answer(const DoneReading& done, const std::filesystem::path& shop, const Query& form);

}  // namespace bindhue::capture::bench

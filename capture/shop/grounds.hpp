// What is asked of a ranking, as typed: over which grounds, under which schedules.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "colour/ranking.hpp"
#include "colour/result.hpp"

namespace bindhue::capture {

// As typed: blank (as read; not_found without one), white, dark, underwrap:CODE or L,a,b. Of an underwrap the
// reading that is like `context`.
Result<std::vector<Ground>> parse_grounds(const std::vector<std::string>& texts,
                                          const std::optional<Reading>& blank, const Palette& rack,
                                          const ReadingContext& context);

// Whether a text is one of those, whatever spools there are. Error: bad_value.
Status check_ground(const std::string& text);

Result<std::vector<Schedule>> parse_schedules(const std::vector<std::string>& texts);

}  // namespace bindhue::capture

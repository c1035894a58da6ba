// What a job's sheet says, the same on paper and on a screen.
#pragma once

#include <string>
#include <vector>

#include "sheet/job_sheet.hpp"
#include "sheet/page_layout.hpp"

namespace bindhue::capture {

// Of each wrap: spool, thread, schedule, widths, turns, metres.
std::vector<std::string> wrap_heads(const Settings& settings);
std::vector<SheetRow> wrap_rows(const JobSheet& sheet);
// Which of them were not matched to the old wrap as it looks now; empty if all were.
std::string matched_as_new_line(const JobSheet& sheet);

// Thread by spool, with what is left of it.
std::vector<std::string> thread_lines(const JobSheet& sheet);
std::string thread_note(const JobSheet& sheet);
// Empty if no wrap is to be finished.
std::string finish_line(const JobSheet& sheet);

std::vector<std::string> cautions(const Settings& settings);
// Blanks of the test wrap to be filled in by hand.
std::vector<std::string> test_wrap_blanks(const Settings& settings);

// Of a spool's thread, for telling wraps apart; none if the rack does not know it.
std::optional<Lab<D50>> dry_colour(const JobSheet& sheet, const std::string& spool);

}  // namespace bindhue::capture

// What a job's sheet says, the same on paper and on a screen.
#pragma once

#include <string>
#include <vector>

#include "sheet/job_sheet.hpp"

namespace bindhue::capture {

struct SheetRow {
    std::vector<std::string> cells;
};

// Of each wrap: spool, thread, schedule, widths, turns, metres.
const std::vector<std::string>& wrap_heads();
std::vector<SheetRow> wrap_rows(const JobSheet& sheet);

// Thread by spool, with what is left of it.
std::vector<std::string> thread_lines(const JobSheet& sheet);
std::string thread_note(const JobSheet& sheet);
// Empty if no wrap is to be finished.
std::string finish_line(const JobSheet& sheet);

std::vector<std::string> cautions();
// Blanks of the test wrap to be filled in by hand.
std::vector<std::string> test_wrap_blanks();

// Of a spool's thread, for telling wraps apart; none if the rack does not know it.
std::optional<Lab<D50>> dry_colour(const JobSheet& sheet, const std::string& spool);

}  // namespace bindhue::capture

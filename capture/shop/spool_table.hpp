// Spools as a table for a spreadsheet, in and out of the rack.
//
// One line a reading; lines of one code are one spool. Columns, in any order: code, material, size_mm, and a colour of the dry
// thread (CIELAB, D50, 2-degree observer): L,a,b or L,C,h (degrees) or hex (#rrggbb as a screen shows it: no measurement). If they are there:
// name, size, lot, metres_left, camera, card, light, source, date, past (yes for a reading from before the thread changed); and how sure the colour is, sd (one standard deviation of each of L, a
// and b) or var_L, var_a, var_b, cov_La, cov_Lb, cov_ab, and the same with shared_ before it for the part that readings of one kind share.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "colour/result.hpp"
#include "shop/spool_file.hpp"

namespace bindhue::capture {

// Standard deviations of a colour from a table that says nothing of it, and of one from a screen (guesses).
inline constexpr double unsaid_deviation = 2, screen_deviation = 6;

struct SpoolTable {
    std::vector<SpoolEntry> entries;
    std::vector<std::string> warnings;
};

// `where` names the text in errors. From a table with anything wrong in it nothing is taken. Errors: bad_format, bad_value, with line and
// column.
Result<SpoolTable> read_spool_table(std::string_view text, const std::string& where);

// All of a rack but the fields that the format does not know; read back, the numbers are the same to the last digit.
std::string write_spool_table(const SpoolFile& file);

struct Merged {
    std::size_t new_spools = 0, new_readings = 0, known = 0;  // known: readings that were there already
};
// Adds to the rack what it has not. A spool that is there must be of the same lot, material and thickness. Error: bad_value, and nothing is
// taken.
Result<Merged> merge(SpoolFile& rack, const std::vector<SpoolEntry>& entries, const std::string& where);

}  // namespace bindhue::capture

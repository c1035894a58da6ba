// Spools as a table for a spreadsheet, in and out of the rack.
//
// One line a reading; lines of one code are one spool. Columns, in any order: code, material, size_mm, and a colour of the dry
// thread (CIELAB, D50, 2-degree observer): L,a,b or L,C,h (degrees) or hex (#rrggbb as a screen shows it: no measurement). If they are there:
// name, size, lot, metres_left, camera, card, light, source, date, past (yes for a reading from before the thread changed); and how sure the
// colour is, sd (one standard deviation of each of L, a and b) or var_L, var_a, var_b, cov_La, cov_Lb, cov_ab, and the same with shared_ before it for the part that readings of one kind share.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "colour/result.hpp"
#include "shop/csv.hpp"
#include "shop/spool_file.hpp"

namespace bindhue::capture {

// Standard deviations of a colour from a table that says nothing of it, and of one from a screen (guesses).
inline constexpr double unsaid_deviation = 2, screen_deviation = 6;

struct SpoolTable {
    std::vector<SpoolEntry> entries;
    std::vector<std::string> warnings;
};

// What holds where the file says nothing of it.
struct SpoolDefaults {
    std::optional<Material> material;
    std::optional<double> size_mm;  // min_thread_mm to max_thread_mm
    std::optional<double> sd;       // of each of L, a and b; 0 to 100
};

// `where` names the text in errors. From a table with anything wrong in it nothing is taken. Errors: bad_format, bad_value, with line and
// column.
Result<SpoolTable> read_spool_table(std::string_view text, const std::string& where, const SpoolDefaults& defaults = {});

// The same from tables of another format whose columns have got the names above.
Result<SpoolTable> read_spool_tables(std::vector<CsvTable> tables, const std::string& where, const SpoolDefaults& defaults = {});

// All of a rack but the fields that the format does not know, a row for each reading. Numbers are without exponent, as short as they can be
// and still be read back the same to the last digit.
struct SpoolRows {
    struct Column {
        std::string name;
        bool number = false;  // or nothing
    };
    std::vector<Column> columns;
    std::vector<std::vector<std::string>> rows;
};
SpoolRows spool_rows(const SpoolFile& file);

// Those rows for a spreadsheet.
std::string write_spool_table(const SpoolFile& file);

struct Merged {
    std::size_t new_spools = 0, new_readings = 0, known = 0;  // known: readings that were there already
};
// Adds to the rack what it has not: spools, readings, and of a spool or the rack itself what the rack is silent about, fields that are not
// ours too. A spool that is there must be of the same lot, material and thickness. Error: bad_value, and nothing is taken.
Result<Merged> merge(SpoolFile& rack, const SpoolFile& other, const std::string& where);

}  // namespace bindhue::capture

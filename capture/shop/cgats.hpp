// Measured samples as CGATS text: the ASCII form of ISO 28178, and CGATS.17 and IT8.7 before it.
//
//     CGATS.17
//     ORIGINATOR "a shop"
//     BEGIN_DATA_FORMAT
//     SAMPLE_ID LAB_L LAB_A LAB_B
//     END_DATA_FORMAT
//     BEGIN_DATA
//     "0123" 41.2 30.1 20.4
//     END_DATA
//
// A reader of our own, because Little CMS 2.14 takes the unquoted code 0123 for the number 123 and 1e-3 for a text, keeps ten digits, holds
// 32,766 sets and opens the files that an .INCLUDE names. The tests hold each against the other where both can read. Names of keywords and
// fields do not care about case; they are told in capitals. Sets may be broken over several lines. A text that is not UTF-8 is taken for
// ISO 8859-1, as many instruments' programs write it.
#pragma once

#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "colour/result.hpp"
#include "shop/csv.hpp"

namespace bindhue::capture {

struct CgatsTable {
    // What stands before the data, in the file's order, of the tables before too: a keyword may be there more than once.
    std::vector<std::pair<std::string, std::string>> keywords;
    CsvTable sets;  // columns named as in the file, in capitals

    std::string keyword(std::string_view name) const;  // the last of that name; empty if there is none
};

// By what the text is, whatever its file is called: an identifier in its first line, or a line BEGIN_DATA_FORMAT.
bool looks_like_cgats(std::string_view text);

// At least one table, each with at least one set. Errors: bad_format, with the line: text before a section's end is missing; a count that is
// stated is another; a field is there twice; another file is to be read in; a set has too many or too few values.
Result<std::vector<CgatsTable>> read_cgats(std::string_view text, const std::string& where);

// A value in quotes. Error: bad_value for what the format cannot hold: both kinds of quotes, or a line's end or other control character.
Result<std::string> cgats_quoted(std::string_view text);

}  // namespace bindhue::capture

// Looks that were asked for, and spools on offer, as files that an audit takes.
#pragma once

#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

#include "colour/audit.hpp"
#include "colour/result.hpp"

namespace bindhue::capture {

// Either what bindhue read --json printed, of which every wrap and trim is a look that was asked for once,
// or a table with the columns L, a, b (CIELAB, D50, 2-degree) and, if it is there, weight: how often it was
// asked for. `where` names the text in errors. Errors: bad_format, bad_value, too_few, with the place.
Result<std::vector<AskedLook>> read_asked_looks(std::string_view text, const std::string& where);

// A band of an old rod, for drawing it.
struct OldBand {
    double start_mm = 0, length_mm = 0;  // along the rod
    double diameter_mm = 0;              // of the blank there
    bool is_blank = false;
    Lab<D50> lab;
    Matrix3 covariance{};  // zero: not said
};
// From what bindhue read --json printed. Errors: bad_format, bad_value, with the place.
Result<std::vector<OldBand>> read_old_rod(std::string_view text, const std::string& where);

// Of its bare blanks the longest, as WrapReading::blank() has it; none if none was read.
std::optional<Reading> blank_of(const std::vector<OldBand>& rod);

// Either a file of spools (palettes/spools.schema.json) or a table with the columns code, material, size_mm,
// L, a, b (dry, as on the spool) and, if they are there, name and size. From a bad table nothing is taken.
Result<Palette> read_offer(std::string_view text, const std::string& where);

// Errors: besides the above, storage and not_found.
Result<std::vector<AskedLook>> load_asked_looks(const std::filesystem::path& path);
Result<Palette> load_offer(const std::filesystem::path& path);

}  // namespace bindhue::capture

// The rack on disk: spools and their readings as JSON.
//
// The format is palettes/spools.schema.json; fields that it does not know are kept and written back.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "colour/result.hpp"
#include "colour/spool.hpp"

namespace bindhue::capture {

// What the file says of a reading beyond what colour needs.
struct ReadingNote {
    std::string source;   // where it comes from, in words
    std::string date;     // as 2026-11-01; empty if not known
    std::string unknown;  // JSON object of fields that are not ours, or empty
};

struct NotedReading {
    Reading reading;
    ReadingNote note;
};

struct SpoolEntry {
    Spool spool;
    std::optional<double> metres_left;  // of thread on the spool, 0 to 10^6; none if not known
    std::vector<ReadingNote> notes;     // of spool.readings, in the same order; may be shorter
    ReadingNote opacity_note;            // of spool.opacity
    std::vector<NotedReading> past;      // from before the thread changed (faded, soiled): kept, and used for nothing
    std::string unknown;
};

struct SpoolFile {
    std::string note;
    std::vector<SpoolEntry> entries;
    std::string unknown;

    Palette palette() const;
    const SpoolEntry* find(std::string_view code) const;  // null if there is none
    SpoolEntry* find(std::string_view code);
};

// `where` names the text in errors, as a rule by its path. Errors: bad_format, bad_value, with the place: a
// field is missing, of another type or out of range; a code is used twice; a covariance is none (see
// bindhue::validate).
Result<SpoolFile> read_spool_file(std::string_view text, const std::string& where);

// Refuses what it could not read back. Error: bad_value.
Result<std::string> write_spool_file(const SpoolFile& file);

// Errors: besides the above, storage and not_found.
Result<SpoolFile> load_spool_file(const std::filesystem::path& path);
Status save_spool_file(const std::filesystem::path& path, const SpoolFile& file);

}  // namespace bindhue::capture

// Reading a whole file, and replacing one so that no crash or full disk can lose it.
#pragma once

#include <filesystem>
#include <string>
#include <string_view>

#include "colour/result.hpp"

namespace bindhue::capture {

// Errors: not_found; storage (no permission, a folder, larger than 64 MiB).
Result<std::string> read_file(const std::filesystem::path& path);

enum class Previous { kept, forgotten };

// Writes to a temporary file in the same folder, flushes it to the disk and renames it over `path`; the
// version that was there is kept as PATH.previous unless it is to be forgotten. Whenever it is cut off, `path` holds the old or the new
// version whole (at worst a temporary file named .NAME.*.saving stays behind). Follows a symbolic link; keeps
// the file's permissions. Error: storage; the old version is then untouched, or, where only the folder could not be
// flushed, the new one stands, as the error says, and may be lost if the power fails.
Status save_file(const std::filesystem::path& path, std::string_view text,
                 Previous previous = Previous::kept);

// Keeps a text beside `path`, for good: as PATH and the ending or, where another text has that name, with -2, -3 and so on behind. Answers the
// name of its file, which may have been there. Errors: storage.
Result<std::string> keep_beside(const std::filesystem::path& path, std::string_view text, const std::string& ending);

// Whether a save that was cut off may have left a file of this name, or a folder, behind.
bool is_leftover(std::string_view name);

}  // namespace bindhue::capture

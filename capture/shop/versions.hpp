// The versions of a file format: an older file is read as if it were of today's version, and written as one at the next save.
#pragma once

#include <filesystem>
#include <span>
#include <string>
#include <string_view>

#include "colour/result.hpp"
#include "shop/json_text.hpp"

namespace bindhue::capture {

// From one version to the next. `newer` is a copy of the older document, to be changed; what is wrong with the older one its cursor tells.
// Fields that it does not know stay as they are.
using Migration = void (*)(const JsonCursor& older, Json& newer);

struct FileFormat {
    std::string_view name;              // what the field "format" says
    std::span<const Migration> steps{};  // from version 1 to 2, from 2 to 3, and so on

    int version() const { return 1 + static_cast<int>(steps.size()); }  // today's
};

// A file of this format in today's version, migrated where it is older. Errors: bad_format, bad_value, with the place: no JSON, another
// format, a later version than today's, or what keeps an older one from being migrated.
Result<JsonDocument> read_format(std::string_view text, const std::string& where, const FileFormat& format);

// The version that a file says to be of. Errors: as above.
Result<int> version_in(std::string_view text, const std::string& where, const FileFormat& format);

// The fields that open a file of today's version.
Json opening(const FileFormat& format);

// save_file, for a text of today's version. A file of an older version that it replaces is first kept for good, as PATH.version-1. Error: storage.
Status save_in_format(const std::filesystem::path& path, std::string_view text, const FileFormat& format);

}  // namespace bindhue::capture

// Coat tests of a shop: as a table that is taken in, and as the file coat-tests.json (palettes/coat-tests.schema.json).
#pragma once

#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

#include "colour/coat_learning.hpp"
#include "colour/result.hpp"

namespace bindhue::capture {

struct CoatTestEntry {
    CoatTest test;
    std::string source, date;
    std::string unknown;  // JSON object of fields that are not ours, or empty
};

struct CoatTestFile {
    std::vector<CoatTestEntry> entries;
    std::string unknown;

    std::vector<CoatTest> tests() const;
};

// Columns, in any order: material,size_mm,schedule,ground_L,ground_a,ground_b,dry_L,dry_a,dry_b,finished_L,finished_a,finished_b, and, if they
// are there, product, build (thin, high), coats, source, date and water: a preview with water (yes) is no coat test and is refused. `where` names the text in errors. Errors:
// bad_format, bad_value, with line and column; nothing is taken from a bad table.
Result<std::vector<CoatTestEntry>> read_coat_table(std::string_view text, const std::string& where);

Result<CoatTestFile> read_coat_tests(std::string_view text, const std::string& where);
Result<std::string> write_coat_tests(const CoatTestFile& file);

// Of the shop in this folder; empty if it has none. Errors: as above, and storage.
Result<CoatTestFile> load_coat_tests(const std::filesystem::path& folder);
// What those tests teach.
Result<CoatModel> load_coat_model(const std::filesystem::path& folder);
Status save_coat_tests(const std::filesystem::path& folder, const CoatTestFile& file);

}  // namespace bindhue::capture

// What the commands that rank or audit a rack share: whose spools they are.
#pragma once

#include <filesystem>
#include <string>

#include <CLI/CLI.hpp>

#include "colour/coat_learning.hpp"
#include "colour/result.hpp"
#include "shop/shop.hpp"
#include "shop/spool_file.hpp"

namespace bindhue::capture::cli {

// --shop, the same for every command; `folder` stays empty where it is not given.
void add_shop_option(CLI::App& command, std::string& folder);

// The folder that --shop names; the default one if empty.
Result<std::filesystem::path> shop_folder(const std::string& folder);

// Errors of all of these: not_found, storage, and what the file has wrong.
Result<Shop> open_shop(const std::string& folder, Access access);
Result<SpoolFile> spools_of(const std::string& folder);

// What the shop's coat tests teach; the prior if it has none.
Result<CoatModel> coat_model_of(const std::string& folder);

// As --material says it.
Result<Material> material_of(const std::string& option);

// For a column "tests": how many coat tests a finished look rests on, or "prior".
std::string rests_on(std::size_t coat_tests);
// What that column means; `some`: there are rows with tests, `others`: there are rows without.
std::string rests_on_in_words(bool some, bool others);

}  // namespace bindhue::capture::cli

// The parts of `bindhue shop` that stand in files of their own.
#pragma once

#include <CLI/CLI.hpp>

namespace bindhue::capture::cli {

void add_shop_settings(CLI::App& shop, int& exit_code);

}  // namespace bindhue::capture::cli

// The parts of bindhue card that have a file of their own.
#pragma once

#include <CLI/CLI.hpp>

namespace bindhue::capture::cli {

void add_card_assign(CLI::App& card, int& exit_code);

}  // namespace bindhue::capture::cli

// What is put on, beyond its schedule: the same options for every command that predicts or keeps coats.
#pragma once

#include <string>

#include <CLI/CLI.hpp>

#include "colour/coat_learning.hpp"

namespace bindhue::capture::cli {

struct FinishArguments {
    std::string product, build;
    int coats = 0;

    void add_to(CLI::App& command);
    Result<FinishUse> use() const;  // error: bad_value, naming the option
};

}  // namespace bindhue::capture::cli

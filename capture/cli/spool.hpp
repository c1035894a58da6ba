// The parts of bindhue spool that have a file of their own.
#pragma once

#include <optional>
#include <string>

#include <CLI/CLI.hpp>

#include "colour/result.hpp"
#include "shop/enrol.hpp"

namespace bindhue::capture::cli {

// What a user says of a spool.
struct ParticularsArguments {
    std::optional<std::string> name, material, size, lot;
    std::optional<double> size_mm, metres;

    // `whose` ends the help: "of spools that are new".
    void add_to(CLI::App& command, const std::string& whose);
    bool empty() const { return !name && !material && !size && !lot && !size_mm && !metres; }
    Result<SpoolParticulars> parsed() const;
};

void add_spool_enrol(CLI::App& spool, int& exit_code);
// add and edit
void add_spool_by_hand(CLI::App& spool, int& exit_code);

}  // namespace bindhue::capture::cli

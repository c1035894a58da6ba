// Changing the rack, the same way for every command that does.
#pragma once

#include <filesystem>
#include <iostream>
#include <string>
#include <system_error>

#include "cli/command.hpp"
#include "cli/rack.hpp"

namespace bindhue::capture::cli {

// Opens the shop that --shop names for change, lets `what` change its rack, saves it and prints what `what` says of it, on standard error
// if standard output is for machines. Where `what` gives an error nothing is saved. Answers the exit code.
template <class F>  // Result<std::string>(SpoolFile&)
int change_rack(const std::string& shop, F what, bool for_machines = false) {
    const Result<Shop> opened = open_shop(shop, Access::change);
    if (!opened) return fail(opened.error());
    Result<SpoolFile> rack = opened->spools();
    if (!rack) return fail(rack.error());
    const Result<std::string> told = what(*rack);
    if (!told) return fail(told.error());
    std::error_code unseen;
    const bool had_one = std::filesystem::exists(opened->spool_path(), unseen);
    if (const Status saved = opened->save(*rack); !saved) return fail(saved.error());
    std::ostream& out = for_machines ? std::cerr : std::cout;
    out << *told;
    if (had_one) out << "; the rack before is kept as " << opened->spool_path().string() << ".previous";
    out << '\n';
    return done;
}

}  // namespace bindhue::capture::cli

// Whether the files of a shop can be read, and the way back to the version before.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "colour/result.hpp"
#include "shop/shop.hpp"

namespace bindhue::capture {

// What became of reading one version of a file.
struct VersionCheck {
    bool there = false;
    std::optional<Error> fault;  // none: it reads
    int format_version = 0;      // that it says to be of; 0 if it does not read

    bool sound() const { return there && !fault; }
};

struct FileCheck {
    std::string name;  // within the shop's folder: "spools.json", "jobs/trout-4/job.json"
    int format_version = 0;  // in which the next save will write it
    VersionCheck current, previous;

    // A file that only its previous version shows to have been there is damaged as well: it is gone.
    bool damaged() const { return !current.sound(); }
};

struct ShopCheck {
    std::vector<FileCheck> files;         // that are there, or whose previous version is
    std::vector<std::string> leftovers;   // of saves that were cut off; the next change of the shop removes them

    bool sound() const;
};

// Reads every file of the shop by its own reader. Error: storage (a folder cannot be listed).
Result<ShopCheck> check(const Shop& shop);

// Whether this path leads to a file that a shop keeps for itself: such a file is only changed by opening the shop.
bool is_own_file(const Shop& shop, const std::filesystem::path& path);

struct Restored {
    std::string name;
    std::string aside;  // what it replaces is kept under this name; empty if there was nothing
};

// Puts the previous version of a file back. The current one, sound or not, is kept under a name of its own, and nothing is
// deleted. `name` as check() gives it.
// Precondition: the shop is opened for change. Errors: not_found (no such file of the shop, no previous version), bad_format or
// bad_value (the previous version cannot be read either), storage.
Result<Restored> restore(const Shop& shop, const std::string& name);

}  // namespace bindhue::capture

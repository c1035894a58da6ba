// The audit of a shop's rack against what was asked of it: the same for the command and the page.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "colour/audit.hpp"
#include "colour/coat_learning.hpp"
#include "colour/result.hpp"
#include "shop/json_text.hpp"
#include "shop/shop.hpp"

namespace bindhue::capture {

struct AuditWish {
    // As the options of bindhue audit say them.
    std::vector<std::string> grounds{"dark", "white"}, schedules{"finish", "preserver+finish"};
    double tolerance = default_tolerance;
    std::vector<std::filesystem::path> targets;  // looks that were asked for (shop/look_table.hpp)
    bool jobs = false;                           // and every wrap and trim read for a job of the shop

    // Where neither is given: an even sample of the colours that surfaces take.
    bool all_surfaces() const { return targets.empty() && !jobs; }
};

// A spool that open jobs need.
struct Stock {
    std::string code;
    double needed_m = 0;
    std::optional<double> left_m;
    bool in_rack = false;

    bool runs_out() const { return left_m && needed_m > *left_m; }
};

struct RackAudit {
    std::vector<SpoolEntry> entries;
    Palette rack;  // the spools of the entries
    std::vector<Ground> grounds;
    std::vector<Schedule> schedules;
    CoatModel coat_model;
    std::vector<SpoolLook> looks;
    std::vector<AskedLook> asked;
    Audit audit;
    std::vector<Stock> stock;  // by code

    // Coat tests that a finished look rests on.
    std::size_t tests_behind(std::size_t look) const;
};

// Errors: what the shop's files or the targets have wrong; bad_value for a ground, a schedule or the tolerance; not_found; storage; too_few (no
// spools, or no job has a reading).
Result<RackAudit> audit_rack(const Shop& shop, const AuditWish& wish);

// "144 spools serve 5.1 % of the ..., within 2.0 CIEDE2000 when finished."
std::string served_in_words(const RackAudit& found, const AuditWish& wish);
// What the finished looks rest on, in a sentence.
std::string rests_in_words(const RackAudit& found);

// twins[] {spools[], delta_e}, unneeded[] (codes), stock[] {spool, needed_m, left_m or null, in_rack, runs_out}.
void add_rack_findings(Json& out, const RackAudit& found);

}  // namespace bindhue::capture

// The rack of a shop ranked for a colour: the same for the command and for the page.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "colour/ranking.hpp"
#include "colour/result.hpp"

namespace bindhue::capture {

// As typed (see shop/grounds.hpp).
struct MatchWish {
    std::vector<std::string> grounds;  // none: the blank where it was read, else a dark one
    std::vector<std::string> schedules{"finish", "preserver+finish"};
    double tolerance = 2.0;
    std::size_t top = 10;
    FinishUse finish;
};

struct RackMatch {
    Palette rack;
    std::vector<Ground> grounds;
    std::vector<Candidate> candidates;  // best first; indices into the two above
};

// Predicts by the shop's coat tests. `blank`: as read beside the target. Errors: those of the shop's files, of parse_grounds and of rank().
Result<RackMatch> match_rack(const std::filesystem::path& shop, const Reading& target, const std::optional<Reading>& blank,
                             const MatchWish& wish);

}  // namespace bindhue::capture

// The rack of a shop ranked for a colour: the same for the command and for the page.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "colour/amber.hpp"
#include "colour/ranking.hpp"
#include "colour/result.hpp"
#include "colour/spectrum.hpp"

namespace bindhue::capture {

// Grounds and schedules as typed (see shop/grounds.hpp).
struct MatchWish {
    std::vector<std::string> grounds;  // none: the blank where it was read, else a dark one
    std::vector<std::string> schedules{"finish", "preserver+finish"};
    double tolerance = 2.0;
    std::size_t top = 10;
    FinishUse finish;
    std::optional<Amber> old_finish;  // match the colour as it was when this finish was clear; none: as it looks now
    std::vector<Illuminant> lights;   // the difference under these too
    bool metallic = false;            // the band glitters: thread of other materials is noted as matt
};

struct RackMatch {
    Reading target;  // that was ranked for: as read, or as new
    Palette rack;
    std::vector<Ground> grounds;
    std::vector<Candidate> candidates;  // best first; indices into the two above
    // CIEDE2000 of each candidate in each light that was asked for, in their order, of the colours as they stand. From the smoothest spectra that have
    // them: what a spectrum could do, not what it does.
    std::vector<std::vector<double>> in_light;
    std::optional<Reading> coated_blank;  // what the eye sees beside the new wrap; none without a blank
};

// Predicts by the shop's coat tests. `blank`: as read beside the target. Errors: those of the shop's files, of parse_grounds, as_new() and rank().
Result<RackMatch> match_rack(const std::filesystem::path& shop, const Reading& target, const std::optional<Reading>& blank,
                             const MatchWish& wish);

}  // namespace bindhue::capture

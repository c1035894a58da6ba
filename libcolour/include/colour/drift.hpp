// Has the colour of one spool moved since it was last read?
#pragma once

#include <span>
#include <string>

#include "colour/reading.hpp"

namespace bindhue {

struct Drift {
    double delta_e = 0;                          // CIEDE2000 of the two best estimates
    double interval_low = 0, interval_high = 0;  // its 95 % interval; holds delta_e, which lies low where the two are close
    // The readings disagree at the 99 % level (see bindhue::disagreement): the thread, the card, the light or the camera has changed. Of
    // two readings of a thread that has not, one pair in a hundred says so by chance.
    bool beyond_chance = false;
    bool same_kind = false;  // by one camera, card and light: what they share cancels, so that small drifts are seen
    std::string leans;       // of the later reading from the earlier, in words (see bindhue::lean)
};

Drift drift_between(const Reading& earlier, const Reading& later);

struct ReadTwice {
    Reading earlier, later;
};

// Do several spools that drift beyond chance drift the same way in CIELAB (each pair of shifts within 45 degrees)? Then something that they
// have in common, the card, the light or the camera, is to be suspected before their dyes. False where fewer than two drift.
bool drift_alike(std::span<const ReadTwice> spools);

}  // namespace bindhue

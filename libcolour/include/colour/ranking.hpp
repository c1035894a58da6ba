// Which spool, coated how, over which ground, will look like this band when finished?
#pragma once

#include <cstddef>
#include <span>
#include <string>
#include <vector>

#include "colour/coat_learning.hpp"
#include "colour/coating.hpp"
#include "colour/spool.hpp"

namespace bindhue {

// What lies under the thread.
struct Ground {
    std::string label;    // "blank", "white", "underwrap CODE"
    Reading colour;       // as it looks bare
    int extra_steps = 0;  // an underwrap is a layer more to wrap
};

struct RankingOptions {
    std::vector<Schedule> schedules{all_schedules.begin(), all_schedules.end()};
    double tolerance = 2.0;  // CIEDE2000, the limit for a pass
    std::size_t top = 10;
    CoatModel coat_model;    // what the shop's coat tests teach; nothing learned: the prior
};

struct Candidate {
    std::size_t spool = 0;  // index into the palette
    Schedule schedule = Schedule::none;
    std::size_t ground = 0;                      // index into the grounds
    Reading predicted;                           // the finished look
    double delta_e_at_best = 0;                  // CIEDE2000 between the best estimates of target and look
    double delta_e = 0;                          // expected CIEDE2000: how unsure both are adds to it
    double interval_low = 0, interval_high = 0;  // 95 %
    double pass_chance = 0;
    std::string leans;               // which way the candidate leans from the target, in words
    int steps = 0;                   // coats and layers beyond the bare wrap
    std::size_t coat_tests = 0;  // of this material and schedule, that the finished look rests on; none: the prior
    bool same_kind = false;          // ranked against a spool reading of the target's camera, card and light
    std::vector<std::string> notes;  // for instance: metallic changes with angle
};

// Best first by the CIEDE2000 between best estimates; those alike to 0.01 are ties, ordered by fewer steps, then by code. Not by the
// expected one: a look that is less sure is not for that a worse guess, and the right spool came first less often by it.
// Metallic and colours that no plain surface has (fluorescent) are ranked but noted. A dry spool against a
// dry wrap of its own camera, card and light is judged by what the two readings do not share. Errors: bad_value (an invalid palette, target, ground or tolerance; `where` names it),
// too_few (no spool, ground or schedule).
Result<std::vector<Candidate>> rank(const Reading& target, const Palette& palette,
                                    std::span<const Ground> grounds, const RankingOptions& options = {});

}  // namespace bindhue

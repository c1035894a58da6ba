// What a rack can serve and what it cannot: gaps, twins, spools that nothing needs, and what to buy.
//
// A look is asked for (a past reading, a row of a table, a surface colour) and is served when some spool,
// under some schedule over some ground, is predicted to finish within the tolerance of it. Judged by the
// predicted means (colour/coat_learning.hpp): an audit is about hundreds of looks at once, so the spread of each
// prediction is left to the ranking.
#pragma once

#include <cstddef>
#include <span>
#include <string>
#include <vector>

#include "colour/nearest.hpp"
#include "colour/ranking.hpp"

namespace bindhue {

struct AskedLook {
    Lab<D50> lab;
    double weight = 1;  // how often it was asked for, greater than 0
};

// A finished look that a spool can give.
struct SpoolLook {
    std::size_t spool = 0;  // index into the palette
    Schedule schedule = Schedule::none;
    std::size_t ground = 0;  // index into the grounds
    Lab<D50> lab;
};

// Every spool under every schedule over every ground, in this order, by its absolute reading and what coat tests teach. Errors as those of
// rank().
Result<std::vector<SpoolLook>> finished_looks(const Palette& palette, std::span<const Ground> grounds,
                                              std::span<const Schedule> schedules, const CoatModel& coat_model = {});

inline constexpr double default_tolerance = 2.0;
// Two spools whose finished looks differ by less than this are twins. At 1 CIEDE2000 a difference is about
// to be seen side by side (common practice).
inline constexpr double twin_limit = 1.0;

// Looks that are not served and go by one name.
struct Gap {
    std::string words;        // as colour_words says it
    double share = 0;         // of all that is asked for, 0..1
    std::size_t looks = 0;
    Lab<D50> middle;          // the one of them where one more finished look would serve most
    double would_serve = 0;   // the share that it would serve
    double delta_e = 0;       // from the middle to the nearest finished look
    std::size_t nearest = 0;  // that look
    double worst = 0;         // the largest such difference in the gap
};

// Spools of one material and a like size that no eye can tell apart, whatever the schedule and the ground.
struct Twins {
    std::vector<std::size_t> spools;  // each a twin of the first
    double delta_e = 0;               // the largest difference of finished looks from those of the first
};

struct Audit {
    double served = 0;                // share of what is asked for, 0..1
    std::vector<Neighbour> nearest;   // for each look asked for, the finished look that comes nearest
    std::vector<Gap> gaps;            // most asked for first
    std::vector<Twins> twins;         // in the order of the palette
    std::vector<std::size_t> unneeded;  // all of them can go and everything served is served still
};

// Looks: as finished_looks gives them for this palette. Errors: bad_value (a colour that is none, a weight, the tolerance);
// too_few (nothing asked for, no looks).
Result<Audit> audit(const Palette& palette, std::span<const SpoolLook> looks, std::span<const AskedLook> asked,
                    double tolerance = default_tolerance);

struct Purchase {
    std::size_t spool = 0;  // index into the offer
    double share = 0;       // of all that is asked for: what this one adds to those before it
};
struct BuyingList {
    std::vector<Purchase> buy;  // the one that adds most first
    double served = 0;          // share of what is asked for, with them
    bool best = false;          // proven: no other `most` spools of the offer serve more
    double bound = 0;           // no choice of `most` spools can serve a larger share than this
};

// At most `most` spools of an offer that together serve the largest share of what the rack does not serve;
// among equal ones those that come nearer. Branch and bound, within a budget of work of about a second;
// beyond it the greedy choice, which serves at least 1 - 1/e of the best gain (Nemhauser, Wolsey, Fisher,
// Math. Programming 14 (1978) 265-294), or what the search found meanwhile if that is better. `rack` must be the audit of
// the same asked looks at the same tolerance. Errors as of audit(); too_few also if the offer covers too much to hold (over 10^8 pairs).
Result<BuyingList> buying_list(std::span<const SpoolLook> offer, std::span<const AskedLook> asked,
                               const Audit& rack, std::size_t most, double tolerance = default_tolerance);

}  // namespace bindhue

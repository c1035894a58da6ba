// A job: the wraps that are wanted, and what they take.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "colour/amber.hpp"
#include "colour/coating.hpp"
#include "colour/quantities.hpp"

namespace bindhue {

struct WantedBand {
    std::string spool;                 // code; empty if not chosen yet
    std::optional<Schedule> schedule;  // none if not chosen yet
    Winding winding;
    int count = 1;     // how many such wraps, 1 to 1000
    int replaces = 0;  // the band of the old rod in whose place it comes, from 1 as it was read; 0: not said
    std::string ground{};  // what lies under it, as typed: blank, white, dark, underwrap:CODE of a spool or L,a,b; empty: not said
    std::optional<Amber> old_finish{};  // matched to the old band as it was when this finish was clear; none: as it looks now
};

struct Job {
    std::vector<WantedBand> bands;
    int coats = 2;                     // of finish, 1 to 10
    double film_mm = usual_film_mm;    // of one coat, 0.01 to 2
    bool one_guide = false;            // a repair of one guide: more is wasted
};

// Code of the spool that its ground names as an underwrap; empty if it names none.
std::string underwrap_spool(const WantedBand& band);

double waste(const Job& job);  // as a share: one_guide_waste or whole_rod_waste

// Of all wraps of this band, with their ends, without waste and without an underwrap.
double thread_metres(const WantedBand& band);

struct Takes {
    // By spool, with ends and waste; "" holds what has no spool yet. An underwrap whose spool is said takes from that, wound close in one layer as wide as
    // the wrap; of another nothing is known but its thickness, and it is left out.
    std::map<std::string, double> metres;
    double film_ml = 0;                    // of one coat
};
// Precondition: each winding passes validate().
Takes takes(const Job& job);

}  // namespace bindhue

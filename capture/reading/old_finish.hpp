// How amber the old finish of a wrap is, as somebody says it.
#pragma once

#include <string>
#include <vector>

#include "colour/amber.hpp"
#include "colour/result.hpp"
#include "reading/reading.hpp"

namespace bindhue::capture {

// Either its strength, or one place without the finish and under it; what is not said is empty.
struct OldFinishSaid {
    std::string amber;         // share of the light at 440 nm let through once across, 0.05 to 1: 0.75, or 0.75,0.03 with its standard deviation
    std::string bare, coated;  // each the number of a band, or L,a,b
};

// What the three texts are called where they are typed.
struct OldFinishNames {
    std::string amber, bare, coated;
};

// Errors: bad_value, not_found (no such band), and those of amber_over().
Result<Amber> old_finish(const OldFinishSaid& said, const std::vector<BandReading>& bands, const OldFinishNames& names);

}  // namespace bindhue::capture

// A spool of thread and the rack of them.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "colour/coating.hpp"
#include "colour/reading.hpp"

namespace bindhue {

// One physical lot of one material and size: the same colour number in another material or dye lot is another
// spool.
struct Spool {
    std::string code;  // the shop's own, unique in the rack, not empty
    std::string name;
    Material material = Material::nylon;
    std::string size;       // the label's letter: not a standard
    double size_mm = 0.15;  // thread diameter
    std::string lot;
    std::optional<LayerOpacity> opacity;  // of one layer, if a test wrap over black and white told it
    std::vector<Reading>
        readings;  // dry, as on the spool, at least one; the first with no context is the absolute value

    // Like with like: what the readings of the same camera, card and light say together, where there are some, else the best absolute value
    // (the kind, or the reading of no known kind, with the smallest covariance). Readings of one kind are combined: noise averages out, what
    // they share (the card's and the fit's errors) does not; where they scatter more than they say, what is not shared grows by chi squared
    // over its expectation. Unlike kinds are not averaged: their errors against the truth are not known well enough to be weighed. Precondition:
    // readings is not empty.
    Reading reading_for(const ReadingContext& context) const;
};

using Palette = std::vector<Spool>;

// Codes unique and not empty, size in 0.05..1 mm, opacity in its range, at least one reading, each valid. The error's `where` names
// the spool.
Status validate(const Palette& palette);

}  // namespace bindhue

// A spool of thread and the rack of them.
#pragma once

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
    std::vector<Reading>
        readings;  // dry, as on the spool, at least one; the first with no context is the absolute value

    // Like with like: the reading of the same camera, card and light where there is one, else the best
    // absolute value (the one with the smallest covariance). Precondition: readings is not empty.
    const Reading& reading_for(const ReadingContext& context) const;
};

using Palette = std::vector<Spool>;

// Codes unique and not empty, size in 0.05..1 mm, at least one reading, each valid. The error's `where` names
// the spool.
Status validate(const Palette& palette);

}  // namespace bindhue

// Old wrap and new wrap beside each other, seen in one light or in several: is the difference visible, and does a light hide it?
#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "colour/coat_check.hpp"

namespace bindhue {

// Both wraps as one photo has them: what its camera, card and light err by in common cancels.
struct Beside {
    std::string light;  // as the user calls it; empty if not said
    Reading old_wrap, new_wrap;
};

enum class Visible { no, yes, cannot_tell };
std::string_view name(Visible visible);  // "not visible", "visible", "can't tell"

struct BesideDifference {
    ColourShift shift;  // from the old wrap to the new
    std::string leans;  // which way the new wrap leans from the old, in words
    Visible visible = Visible::cannot_tell;  // no: within the tolerance for certain (97.5 %); yes: beyond it for certain, and beyond chance
};

struct BesideCheck {
    std::vector<BesideDifference> differences;  // in the order given
    // Where one light hides what another shows for certain: the two, as indices. A light hides it where its own best estimate is within the tolerance.
    struct Hidden {
        std::size_t in = 0, shown_in = 0;
    };
    std::optional<Hidden> hidden;
};

// tolerance: CIEDE2000, over 0 to 100. Errors: bad_value (a reading, with its place; the tolerance), too_few (none given).
Result<BesideCheck> check_beside(std::span<const Beside> seen, double tolerance = 2.0);

}  // namespace bindhue

// What a clear coat does to a bare blank: the eye judges a wrap against it.
//
// A blank that is smooth and clear coated keeps its colour: the coat's face takes the place of its own. One that is matte (an old glass blank, sanded or
// weathered) deepens as a surface under a film of liquid does (Lekner, Dorf 1988). What lies beneath scatters as before. How matte a blank is no reading
// tells, so the stated region spans both.
#pragma once

#include "colour/reading.hpp"
#include "colour/result.hpp"

namespace bindhue {

// bare: as read. Errors: bad_value (the reading).
Result<Reading> coated_blank(const Reading& bare);

}  // namespace bindhue

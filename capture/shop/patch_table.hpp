// A table of patch means, for fitting a camera without a photo.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "colour/camera_fit.hpp"
#include "colour/result.hpp"

namespace bindhue::capture {

// Columns, in any order; others are passed over:
//   id          of the patch, unique, not empty
//   R, G, B     mean response, full scale 1; encoded values lie in 0..1, linear ones may
//               stray beyond (noise about black, gains)
//   L, a, b     the patch's CIELAB, D50, 2-degree
//   x_mm, y_mm  place on the card, both or neither; empty if not known
//   clipped     1, true or yes; 0, false, no or empty
//   role        grey, colour, check or trap; where there is none, a patch of chroma up
//               to 4 is grey and any other colour: nothing is a check patch or a trap
//               unless the table says so
//
// `where` names the text in errors. From a bad table nothing is taken. Errors: bad_format, bad_value,
// with line and column.
Result<std::vector<PatchSample>> read_patch_table(std::string_view text, const std::string& where,
                                                  bool linear);

}  // namespace bindhue::capture

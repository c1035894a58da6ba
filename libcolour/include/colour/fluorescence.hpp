// Thread whose dye glows by day: it takes in violet, blue or green light and sends out a longer wavelength besides what it reflects. How much, goes with how much of the
// first a lamp has, so that a photo under another light than daylight shows too much or too little of it, and no card of plain inks tells.
#pragma once

#include "colour/matrix.hpp"
#include "colour/spaces.hpp"

namespace bindhue {

// More vivid than this share of what plain surfaces reach (vividness(), colour/surface_gamut.hpp), thread may glow. From rendered photos (seeds 4120000 to 4120023 and
// 4420000 to 4420035): 39 of 68 wraps that glow are read as more vivid, and of 1066 other bands of L 35 and more in other photos 18.
inline constexpr double vivid_as_few = 0.8;
bool may_glow(const Lab<D50>& colour);

// By how much its colour may be off for that, one standard deviation, in CIELAB: as if 15 % of all in it that is not grey came and went with the light. Zero where it
// may not glow. The share was chosen on the same photos: of those so vivid then 93 % lay inside their 95 % regions, 78 % without.
Vector3 doubt_of_glow(const Lab<D50>& colour);

}  // namespace bindhue

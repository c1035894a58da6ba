// Optical brightener in a card's paper. It takes in ultraviolet and sends out blue, so that a print's measured values hold only in light with as much ultraviolet as
// its instrument's had: under a lamp with less, all that is read by the card comes out too blue. No patch tells, since all lie on the same paper.
//
// ISO 13655:2017 names an instrument's light by it: M0 (a filament's, its ultraviolet not defined), M1 (D50, ultraviolet and all), M2 (none).
#pragma once

#include <optional>
#include <span>

#include "colour/matrix.hpp"
#include "colour/spaces.hpp"

namespace bindhue {

// Paper without brightener is not bluer: CIELAB b*, D50, 2 degree. From memory: such papers have 0 to 5, usual office paper -8 to -16 by M1.
inline constexpr double bluest_plain_b = -1.0;

// The lightest of a card's greys, if only brightener makes it so blue; nothing for plain paper, or if no grey is a white (L* of 80 and more, chroma below 40).
std::optional<Lab<D50>> glowing_white(std::span<const Lab<D50>> greys);

// By how much a colour, read by a card of that white, moves in CIELAB if the photo's light has no ultraviolet and the card's values had theirs: as if the neutral of
// the white's L* had been taken for the white (Bradford).
Vector3 shift_without_ultraviolet(const Lab<D50>& colour, const Lab<D50>& white);

}  // namespace bindhue

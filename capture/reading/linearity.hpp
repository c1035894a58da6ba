// Whether a photo holds linear values: as it was said, checked against the card's grey steps; or as they say, where nobody did.
#pragma once

#include "card/view.hpp"
#include "colour/result.hpp"
#include "photo/photo.hpp"

namespace bindhue::capture {

// Of 16 bits without a tone curve a program that develops raw files may leave no word. Photos of 8 bits are taken for encoded: linear ones would have
// no dark colours left. Error: cannot_measure (said to be linear, by the user or the file, and the grey steps show a curve).
Result<bool> holds_linear(const Photo& photo, const CardView& view);

}  // namespace bindhue::capture

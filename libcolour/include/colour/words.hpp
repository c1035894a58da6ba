// A colour's name in plain words, for telling where in the rack something is.
#pragma once

#include <string>

#include "colour/spaces.hpp"

namespace bindhue {

// Lightness, chroma and hue, each in a word where it needs one: "dark dull green", "yellow", "light grey".
// Dark is below L 35, light is 70 and above; dull is below a chroma of 25, vivid is 55 and above; greys are
// below 6, black below L 22 and white from L 88. Hues are twelve sectors of the CIELAB circle. The limits are
// our own judgement and no standard; words are for finding one's way, numbers for deciding.
std::string colour_words(const Lab<D50>& colour);

}  // namespace bindhue

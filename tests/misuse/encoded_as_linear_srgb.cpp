// error: no matching function for call to .*to_xyz
#include "colour/spaces.hpp"

using namespace bindhue;

XYZ<D65> colour_of(const EncodedSrgb& c) { return to_xyz(c); }

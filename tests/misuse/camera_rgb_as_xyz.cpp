// error: no matching function for call to .*to_lab
#include "colour/spaces.hpp"

using namespace bindhue;

Lab<D50> colour_of(const CameraRgb& c) { return to_lab(c); }

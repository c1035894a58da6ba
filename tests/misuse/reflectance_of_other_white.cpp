// error: (invalid initialization|no matching function|no viable conversion|could not convert)
#include "colour/smoothest.hpp"

using namespace bindhue;

Result<Spectrum> reflectance(const XYZ<D65>& c) { return smoothest_reflectance(c); }

// error: (cannot convert|could not convert|conversion from|no viable conversion)
#include "colour/smoothest.hpp"

using namespace bindhue;

Spectrum reflectance(const XYZ<D50>& c) { return smoothest_reflectance(c); }

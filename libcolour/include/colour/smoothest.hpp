// The smoothest reflectance that has a given colour: a spectrum to reason with where none was measured.
//
// Source: Burns, "Numerical methods for smoothest reflectance reconstruction", Color Res. Appl. 45 (2020)
// 8-21: least slope squared of the hyperbolic arctangent of the reflectance (LHTSS), so that 0 < r < 1
// always.
#pragma once

#include "colour/result.hpp"
#include "colour/spectrum.hpp"

namespace bindhue {

// Reproduces the colour to better than 1e-10 in X, Y and Z, as reflectance_to_xyz_d50 sums them. Some 40
// microseconds. Error: bad_value for a colour that no reflectance between 0 and 1 has (outside the
// object-colour solid), black and white themselves among them, or one that is not finite.
Result<Spectrum> smoothest_reflectance(const XYZ<D50>& colour);

}  // namespace bindhue

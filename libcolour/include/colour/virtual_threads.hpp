// Invented reflectances of threads and blanks: a prior to reason with, and no evidence.
//
// The spectral fit asks how a camera that it has estimated would see threads. No open collection of measured rod thread is known
// to us, so these are made up: dyes as Gaussian absorption bands in wavenumber, each with a weaker band above it (a common shape
// of organic dyes), one to four in a bright fibre that scatters (Kubelka-Munk, colour/layer.hpp), deep shades and three-dye
// neutrals among them, dry with a surface reflection of 0.4 to 1.5 %, or coated, over a ground, or under amber; dyed foil; and
// grounds: carbon, paint, cane. Bands, amounts and shares are guesses. A reading that rests on them is as good as they are like
// real thread.
#pragma once

#include <vector>

#include "colour/spaces.hpp"
#include "colour/spectrum.hpp"

namespace bindhue {

struct VirtualThread {
    Spectrum reflectance;  // 0..1
    XYZ<D50> colour;
};

// Always the same ones; made at the first call (some 20 ms).
const std::vector<VirtualThread>& virtual_threads();

}  // namespace bindhue

// What is known of cameras and lights before a photo is seen: the Gaussian prior of the spectral fit.
//
// The curve that a channel of a camera weighs a reflectance with under a light is sensitivity times light. Sensitivities have a
// mean, a few principal components and a spread that these leave; each light of a library is taken in turn as known, but for a
// smooth deviation (walls, window panes, lamps that differ). calibration/README.md says where the numbers of the built-in prior
// come from.
#pragma once

#include <array>
#include <string>
#include <vector>

#include "colour/result.hpp"
#include "colour/spectrum.hpp"

namespace bindhue {

// One curve for each channel: red, green, blue.
using ChannelCurves = std::array<Spectrum, 3>;

struct LibraryLight {
    std::string kind;  // in words of the bench: "daylight", "filament lamp", "white LED", ...
    std::string name;  // "daylight, 5000 K"
    Spectrum power;    // relative; no value below 0
};

struct CameraLightPrior {
    // Sensitivities; each channel's mean sums to 1. The components are independent and scaled by their standard deviations.
    ChannelCurves mean{};
    std::vector<ChannelCurves> components;
    // Standard deviation of what the components leave, correlated along the wavelength over about reach_nm.
    ChannelCurves spread{};
    double reach_nm = 20;
    std::vector<LibraryLight> lights;
};

// Error bad_value: no light, a value that is not finite, a spread or a light below 0, a channel or light without any power, a
// reach outside 10 to 200 nm, more than 32 components or 200 lights.
Status validate(const CameraLightPrior& prior);

}  // namespace bindhue

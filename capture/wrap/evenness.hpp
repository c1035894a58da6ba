// How even a band's colour is along itself: a blotchy coat, wear or a stain is not noise.
#pragma once

#include <optional>

#include "wrap/body.hpp"
#include "wrap/segments.hpp"

namespace bindhue::capture {

// Root mean square CIEDE2000 of stretches 1.5 mm long from the band's own mean, over the darker half of the angles round the rod
// (where the coat mirrors least), with what noise, and a mirror image that changes along the rod, may make of an even band taken
// off. None for a band under 6 mm or out of the picture.
std::optional<double> unevenness(const Skin& skin, const Segment& segment, const BodyColour& body,
                                 const CameraFit& fit, double facing_theta);

}  // namespace bindhue::capture

// How far a band's colour spreads within it: preserver that did not soak in everywhere, thread that varies along its spool.
#pragma once

#include <optional>

#include "colour/camera_fit.hpp"
#include "wrap/rod.hpp"
#include "wrap/segments.hpp"

namespace bindhue::capture {

struct Spread {
    double distance = 0;  // CIELAB, from the band's usual colour: exceeded by a tenth of its places of 2 mm by 8 degrees
    double at_mm = 0;     // the place along the rod that differs most
};

// Each place is compared with what the same angle usually shows along the band, so that shading and what the coat mirrors all along cancel. What is left
// of the lights' own colours may be mirrored and does not count: brighter by any amount, darker by up to a bright room's. So a pale patch on a grey is not
// seen, a dark one is. `body`: the band's response. None for a band under 6 mm, or where too little of it is in the picture.
std::optional<Spread> spread_within(const Skin& skin, const Segment& band, const CameraRgb& body, const CameraFit& fit, double facing_theta);

}  // namespace bindhue::capture

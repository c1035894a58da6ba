// The body colour of each band, apart from what its clear coat mirrors.
//
// What a coated rod sends to the camera, band k, angle theta round the rod, one channel:
//     I_k(theta) = b_k S(theta) + m(theta)
// with the body colour b_k, the light's shading S round the cylinder (1 where the surface faces as the card
// does) and the mirror image m, which never takes light away and is the same for every band (after Shafer's
// dichromatic model, "Using color to separate reflection components", Color Res. Appl. 10 (1985) 210-218).
// Differences of two bands hold no mirror image, so they give S; the darkest band then gives m up to a
// multiple of S, and that is fixed where m is least: there the coat mirrors something dark, mostly the
// camera's own side.
#pragma once

#include <string>
#include <vector>

#include "colour/camera_fit.hpp"
#include "colour/matrix.hpp"
#include "wrap/segments.hpp"

namespace bindhue::capture {

struct BodyColour {
    CameraRgb linear;    // response as of a flat surface in the card's plane, ready for CameraFit::read
    Matrix3 covariance;  // of that response
    std::vector<std::string> warnings;
};

// One answer a segment, in order.
std::vector<BodyColour> body_colours(const Skin& skin, const std::vector<Segment>& segments,
                                     const CameraFit& fit, double facing_theta);

}  // namespace bindhue::capture

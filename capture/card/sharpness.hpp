// How soft the picture is, by the card's own edges.
#pragma once

#include <optional>

#include "card/pose.hpp"
#include "colour/camera_fit.hpp"
#include "photo/photo.hpp"
#include "shop/card_layout.hpp"

namespace bindhue::capture {

// Standard deviation, in pixels, of the Gaussian that blurs an edge of the card as lens, mosaic and sampling together do: the
// median over the outer edges of the fiducials, in linear light. A sharpened picture's overshoot counts against its blur. Good to
// 0.1 px on rendered edges of 0.6 to 2 px. None where the card carries no fiducial that is wholly in the picture.
std::optional<double> blur_of_edges(const Photo& photo, const CardLayout& layout, const CardPose& pose,
                                    const CameraFit& fit);

}  // namespace bindhue::capture

// The rod's outline over its bare blank: wraps stand out over it by thread and coat.
#pragma once

#include <optional>
#include <vector>

#include "wrap/segments.hpp"

namespace bindhue::capture {

// Towards its outline a coat mirrors what lies beside the rod ever more (Fresnel), so that the picture changes most a little within: at this share of the radius. From rendered photos:
// own ones 0.983, path-traced ones 0.99.
inline constexpr double seen_of_radius = 0.985;

// The rod as its edges over its bare runs alone would have it; nothing where they are too short, or no edges are seen about the axis of the rod found.
std::optional<Rod> bare_rod(const std::vector<Segment>& runs, const OpeningImage& image, const CardPose& pose, const Rod& rod);

}  // namespace bindhue::capture

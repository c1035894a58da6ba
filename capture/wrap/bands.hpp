// Which of the runs along the rod are wrap, trim and bare blank, and how fine their thread is.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "wrap/band_role.hpp"
#include "wrap/body.hpp"
#include "wrap/rod.hpp"
#include "wrap/segments.hpp"

namespace bindhue::capture {

struct BandFeatures {
    BandRole role = BandRole::wrap;
    std::optional<double> pitch_mm;  // of the thread; none where the picture does not resolve it
};

// Blank: the colour that the rod has at both ends of the opening, or at the smoother end where they differ by more than what a coat there may mirror.
// Trim: up to 4 mm of another colour beside a longer wrap. labs: body colour of each segment.
std::vector<BandFeatures> name_bands(const Skin& skin, const std::vector<Segment>& segments,
                                     const std::vector<Lab<D50>>& labs, double facing_theta,
                                     double px_per_mm);

}  // namespace bindhue::capture

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

// Of a run's fine detail along the rod.
struct Texture {
    std::optional<double> pitch_mm;  // none where no period stands out
    double energy = 0;               // relative spread
};
std::vector<Texture> textures_of(const Skin& skin, const std::vector<Segment>& segments, double facing_theta, double px_per_mm);

struct BandFeatures {
    BandRole role = BandRole::wrap;
    std::optional<double> pitch_mm;  // of the thread; none where the picture does not resolve it
};

// Blank: the colour that the rod has at both ends of the opening, or at the smoother end where they differ by more than what a coat there may mirror.
// Trim: up to 4 mm of another colour beside a longer wrap. textures, labs: of each segment, its texture and body colour.
std::vector<BandFeatures> name_bands(const std::vector<Segment>& segments, const std::vector<Texture>& textures, const std::vector<Lab<D50>>& labs);

}  // namespace bindhue::capture

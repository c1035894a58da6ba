// Edges between runs that no band ends at.
#pragma once

#include <vector>

#include "wrap/bands.hpp"
#include "wrap/body.hpp"
#include "wrap/segments.hpp"

namespace bindhue::capture {

// Takes one false edge away, if there is any: a streak that comes or goes along a band; gaps between turns, which show the blank
// (the rod's ends are taken for it); what blur leaves between two bands. The body colours on both sides tell them from bands.
bool join_over_false_edge(std::vector<Segment>& segments, const std::vector<BodyColour>& bodies, const CameraFit& fit);

// Bare blank beside bare blank is one run: what divided them is the coat's rounded end or a streak.
bool join_bare_neighbours(std::vector<Segment>& segments, const std::vector<BandFeatures>& features);

}  // namespace bindhue::capture

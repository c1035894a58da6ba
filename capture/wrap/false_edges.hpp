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

// Bare blank beside bare blank is one run where the edge between them is not there all round the rod: then it is a streak's.
bool join_bare_neighbours(std::vector<Segment>& segments, const std::vector<BandFeatures>& features, const std::vector<BodyColour>& bodies);

// Where the edge is there, thread much like the blank lies beside it, as black thread on a black rod: the run that is less like the rod's ends becomes a wrap.
void tell_thread_from_blank(std::vector<BandFeatures>& features, const std::vector<BodyColour>& bodies, const CameraFit& fit);

}  // namespace bindhue::capture

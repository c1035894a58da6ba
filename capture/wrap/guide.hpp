// A guide that stands on the rod: its frame covers part of it, its feet lie under the wraps beside.
#pragma once

#include <optional>
#include <vector>

#include "wrap/bands.hpp"
#include "wrap/body.hpp"
#include "wrap/segments.hpp"

namespace bindhue::capture {

// The runs that a frame covers, from first up to end.
struct GuideFrame {
    std::size_t first = 0, end = 0;
};
std::optional<GuideFrame> find_guide(const std::vector<Segment>& segments, const std::vector<BodyColour>& bodies);

// Takes a frame out of the runs, and from the wraps beside it what a guide's foot may lie under: `segments` are then where to read, what is returned is where
// each run lies.
std::vector<Segment> leave_guide_out(const GuideFrame& frame, std::vector<Segment>& segments, std::vector<BandFeatures>& features,
                                     const std::vector<BodyColour>& bodies, const CameraFit& fit);

}  // namespace bindhue::capture

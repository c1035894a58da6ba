// A region of the picture given by hand, on the rod or off it, read as one band.
#pragma once

#include "card/pose.hpp"
#include "reading/reading.hpp"

namespace bindhue::capture {

// options.region is given. Errors, bad_value: it does not lie in the picture.
Result<BandReading> read_region(const Photo& photo, const ReadOptions& options, const CardPose& pose, const CameraFit& fit);

}  // namespace bindhue::capture

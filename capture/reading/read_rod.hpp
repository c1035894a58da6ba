// The rod in the opening, read band by band.
#pragma once

#include "card/pose.hpp"
#include "reading/reading.hpp"

namespace bindhue::capture {

// Adds bands, blank diameter and warnings to out. Errors: as find_rod has them; cannot_measure where no band can be told or the rod runs out of the
// picture; bad_value for options.edges_mm that do not ascend within the opening.
Status read_rod(const Photo& photo, const ReadOptions& options, const CardPose& pose, const CameraFit& fit, WrapReading& out);

}  // namespace bindhue::capture

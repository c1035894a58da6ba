// What size a thread on a rod may have, told by the pitch of its turns.
#pragma once

#include <string_view>
#include <vector>

namespace bindhue {

// Letters of rod thread whose turns may lie pitch_mm apart, the likeliest first; none below 0.09 mm or over 0.52 mm. Letters are no standard: makers
// differ, silk has another scale, and tension and burnishing flatten thread, so that neighbours overlap. The diameters, 00 of 0.10 to 0.13 mm up to EE
// of 0.38 to 0.45 mm, and how far a turn's width may be from them (0.9 to 1.15 times), are common practice and from memory: a hint, not a measurement.
std::vector<std::string_view> likely_sizes(double pitch_mm);

}  // namespace bindhue

// Whether a photo's values grow in proportion to light, by the grey steps of a card in it.
#pragma once

#include <optional>
#include <span>

#include "colour/camera_fit.hpp"

namespace bindhue {

// The slope of log(mean response) over log(Y) of the grey steps with Y above 0.1, by least squares: 1 for linear values, 0.4 to 0.55 through the
// curve of IEC 61966-2-1 and such as phones have; veil makes it less. Clipped steps are left out. None with fewer than 4 steps, or none that differ.
std::optional<double> grey_exponent(std::span<const PatchSample> patches);

// Between what veiled linear values and what curves give.
inline constexpr double least_linear_exponent = 0.7;  // of values that nobody said to be linear: a veil of a tenth of white leaves more
inline constexpr double most_curved_exponent = 0.55;   // of values that were said to be linear: sure not to be

}  // namespace bindhue

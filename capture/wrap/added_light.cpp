#include "wrap/added_light.hpp"

#include <algorithm>
#include <cmath>

namespace bindhue::capture {

AddedLight added_light(const Vector3& run, const Vector3& under, double most_scaled) {
    constexpr double least_spread = 0.1;  // of the channels, of their size
    double mean_run = 0, mean_under = 0, size = 0;
    for (std::size_t k = 0; k < 3; ++k) {
        mean_run += run[k] / 3;
        mean_under += under[k] / 3;
        size += under[k] * under[k];
    }
    double both = 0, spread = 0;
    for (std::size_t k = 0; k < 3; ++k) {
        both += (under[k] - mean_under) * (run[k] - mean_run);
        spread += (under[k] - mean_under) * (under[k] - mean_under);
    }
    AddedLight out;
    out.coloured = spread / 3 > least_spread * least_spread * size;
    const double scale = out.coloured ? std::clamp(both / spread, 1 - most_scaled, 1 + most_scaled) : 1.0;
    out.level = mean_run - scale * mean_under;
    for (std::size_t k = 0; k < 3; ++k) out.left += std::pow(run[k] - scale * under[k] - out.level, 2);
    out.left = std::sqrt(out.left);
    out.size = std::sqrt(size);
    return out;
}

}  // namespace bindhue::capture

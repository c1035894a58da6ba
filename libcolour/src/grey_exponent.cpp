#include "colour/grey_exponent.hpp"

#include <cmath>

namespace bindhue {

std::optional<double> grey_exponent(std::span<const PatchSample> patches) {
    constexpr double darkest = 0.1;
    double n = 0, x_sum = 0, y_sum = 0, xx = 0, xy = 0;
    for (const PatchSample& p : patches) {
        const double Y = to_xyz(p.reference).Y, response = (p.rgb[0] + p.rgb[1] + p.rgb[2]) / 3;
        if (p.role != PatchRole::grey || p.clipped || !(Y > darkest) || !(response > 0)) continue;
        const double x = std::log(Y), y = std::log(response);
        n += 1;
        x_sum += x;
        y_sum += y;
        xx += x * x;
        xy += x * y;
    }
    const double spread = n * xx - x_sum * x_sum;
    if (n < 4 || !(spread > 1e-3 * n * n)) return std::nullopt;
    return (n * xy - x_sum * y_sum) / spread;
}

}  // namespace bindhue

#include "sheet/rack_map.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

namespace bindhue::capture {

DiscPoint on_disc(const Lab<D50>& c) {
    const double chroma = std::hypot(c.a, c.b);
    const double shrink = std::min(1.0, outermost_chroma / std::max(chroma, 1e-9)) / outermost_chroma;
    return {shrink * c.a, -shrink * c.b};
}

double reach_on_disc(const Lab<D50>& c, double tolerance) {
    return 0.7 * tolerance * (1 + 0.03 * std::hypot(c.a, c.b)) / outermost_chroma;
}

std::string open_area(const RackLevel& level, std::span<const AskedLook> asked, const Audit& audit, double tolerance) {
    // In cells of one hundredth of the radius: thousands of discs that lie on each other would be megabytes.
    constexpr int cells = 100, beyond = 10, side = 2 * (cells + beyond);
    std::vector<bool> open(static_cast<std::size_t>(side) * side);
    const auto at = [](int column, int row) { return static_cast<std::size_t>(row) * side + static_cast<std::size_t>(column); };
    for (std::size_t t = 0; t < asked.size(); ++t) {
        if (audit.nearest[t].delta_e <= tolerance || !level.has(asked[t].lab)) continue;
        const DiscPoint middle = on_disc(asked[t].lab);
        const double reach = std::max(1.0, cells * reach_on_disc(asked[t].lab, tolerance));
        const double x = cells * middle.x + cells + beyond, y = cells * middle.y + cells + beyond;
        const auto first = [](double v) { return std::clamp(static_cast<int>(std::floor(v)), 0, side - 1); };
        for (int row = first(y - reach); row <= first(y + reach); ++row)
            for (int column = first(x - reach); column <= first(x + reach); ++column)
                if (std::hypot(column + 0.5 - x, row + 0.5 - y) <= reach) open[at(column, row)] = true;
    }
    std::string path;
    for (int row = 0; row < side; ++row)
        for (int column = 0; column < side;) {
            const int start = column;
            while (column < side && open[at(column, row)]) ++column;
            if (column > start)
                path.append("M").append(std::to_string(start - cells - beyond)).append(" ").append(std::to_string(row - cells - beyond)).append("h").append(
                    std::to_string(column - start)).append("v1h-").append(std::to_string(column - start)).append("z");
            else
                ++column;
        }
    return path;
}

}  // namespace bindhue::capture

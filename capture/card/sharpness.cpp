#include "card/sharpness.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include "card/view.hpp"
#include "colour/quantile.hpp"

namespace bindhue::capture {
namespace {

// One straight edge: along it t from 0 to 1, across it x from black (negative) to white.
struct Edge {
    CardPoint from, to;
    double out_x = 0, out_y = 0;  // towards the white
    double reach_mm = 0;
};

std::optional<double> blur_across(const Photo& photo, const CardPose& pose, const CameraFit& fit,
                                  const Edge& edge) {
    const auto place = [&](double t, double x) {
        return CardPoint{edge.from.x_mm + t * (edge.to.x_mm - edge.from.x_mm) + x * edge.out_x,
                         edge.from.y_mm + t * (edge.to.y_mm - edge.from.y_mm) + x * edge.out_y};
    };
    const auto pixel = [&](const CardPoint& p) { return pose.project({p.x_mm, p.y_mm, 0}); };
    const cv::Point2d across = pixel(place(0.5, edge.reach_mm)) - pixel(place(0.5, -edge.reach_mm));
    const double px_per_mm = std::hypot(across.x, across.y) / (2 * edge.reach_mm);
    const auto half = static_cast<int>(edge.reach_mm * px_per_mm * 4);
    if (half < 12) return std::nullopt;  // three pixels to a side
    const double step = edge.reach_mm / half;
    std::vector<double> profile;
    for (int i = -half; i <= half; ++i) {
        double sum = 0;
        constexpr int places = 24;
        for (int p = 0; p < places; ++p) {
            const CardPoint at = place(0.2 + 0.6 * (p + 0.5) / places, i * step);
            const Vector3 v = response_at(photo, pixel(at));
            if (!std::isfinite(v[0])) return std::nullopt;
            const Vector3 linear = fit.undo(v, at);
            sum += linear[0] + linear[1] + linear[2];
        }
        profile.push_back(sum);
    }
    const std::size_t n = profile.size(), end = n / 5;
    double black = 0, white = 0;
    for (std::size_t i = 0; i < end; ++i) {
        black += profile[i] / static_cast<double>(end);
        white += profile[n - 1 - i] / static_cast<double>(end);
    }
    if (!(white > 2 * std::abs(black))) return std::nullopt;
    // The step that leaves the same area on both sides, and the area between it and the profile: sqrt(2 / pi) deviations of a Gaussian.
    double still_black = 0;
    for (const double v : profile) still_black += (white - v) / (white - black);
    double area = 0;
    for (std::size_t i = 0; i < n; ++i) {
        const double t = (profile[i] - black) / (white - black);
        const double after = std::clamp(static_cast<double>(i) + 1 - still_black, 0.0, 1.0);
        area += after * (1 - t) + (1 - after) * t;
    }
    return area * step * px_per_mm * std::sqrt(std::numbers::pi / 2);
}

}  // namespace

std::optional<double> blur_of_edges(const Photo& photo, const CardLayout& layout, const CardPose& pose,
                                    const CameraFit& fit) {
    std::vector<double> found;
    for (const CardMarker& marker : layout.markers) {
        const CardRect& r = marker.rect;
        // The border is one cell wide, the white round it as wide in most layouts, 1.5 mm in ours.
        const double cell = r.width_mm / marker_pattern(layout.family, marker.id).side;
        const double reach = std::min(0.8 * cell, 1.2);
        const CardPoint a{r.x_mm, r.y_mm}, b{r.right_mm(), r.y_mm}, c{r.right_mm(), r.bottom_mm()},
            d{r.x_mm, r.bottom_mm()};
        for (const Edge& edge : {Edge{a, b, 0, -1, reach}, Edge{b, c, 1, 0, reach}, Edge{c, d, 0, 1, reach},
                                 Edge{d, a, -1, 0, reach}})
            if (const std::optional<double> blur = blur_across(photo, pose, fit, edge))
                found.push_back(*blur);
    }
    if (found.empty()) return std::nullopt;
    return median(std::move(found));
}

}  // namespace bindhue::capture

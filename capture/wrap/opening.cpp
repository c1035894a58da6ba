#include "wrap/opening.hpp"

#include <algorithm>
#include <cmath>

#include <opencv2/imgproc.hpp>

#include "colour/quantile.hpp"

namespace bindhue::capture {
namespace {

constexpr double steepest_slope = 0.2;  // of the rod's axis against the opening
constexpr double search_px_per_mm = 8.0;
constexpr double near_mm = 0.25, far_mm = 1.0;  // to each side of an edge

double smoothed_px(double px_per_mm) { return 0.12 * px_per_mm + 0.3; }

// Strengths are capped: across a vivid edge several lines are as strong.
Line middle_of_plateau(std::vector<Line>::const_iterator first,
                       std::vector<Line>::const_iterator end, double level) {
    auto last = first;
    while (last + 1 != end && (last + 1)->strength >= level * first->strength) ++last;
    return *(first + (last - first) / 2);
}

}  // namespace

double share_at_once(const OpeningImage& image, const Line& line) {
    constexpr double least_change = 0.01;  // of cube-root response: beside nothing, noise would seem sharp
    std::vector<double> shares;
    for (int c = 0; c < image.look.cols; c += 3) {
        const double row = row_on(line, c, image.look.cols / 2.0);
        const auto change_within = [&](double mm) {
            const auto at = [&](double off_mm) { return image.look.at<cv::Vec3f>(std::clamp(static_cast<int>(std::lround(row + off_mm * image.px_per_mm)), 0, image.look.rows - 1), c); };
            return cv::norm(at(mm) - at(-mm));
        };
        shares.push_back(change_within(near_mm) / std::max(change_within(far_mm), least_change));
    }
    return median(std::move(shares));
}

double share_of_blurred_edge(const OpeningImage& image, double blur_mm) {
    const double spread_mm = std::hypot(blur_mm, smoothed_px(image.px_per_mm) / image.px_per_mm) * std::sqrt(2.0);
    return std::erf(near_mm / spread_mm) / std::erf(far_mm / spread_mm);
}

Result<OpeningImage> flatten_opening(const Photo& photo, const CardLayout& layout, const CardPose& pose, const CameraFit& fit) {
    if (!layout.opening)
        return Error{Reason::cannot_measure, "the card's layout has no opening for a rod", photo.source, "give the region to read with --region"};
    const CardRect& opening = *layout.opening;
    const Vector3 white = fit.response_to(XYZ<D50>::white()).vector();
    OpeningImage out;
    out.opening = opening;
    out.photo = photo.source;
    out.px_per_mm = std::min(search_px_per_mm, pose.px_per_mm);
    out.x0 = opening.x_mm + opening_border_mm;
    out.y0 = opening.y_mm + opening_border_mm / 2;
    const int columns = std::max(8, static_cast<int>((opening.width_mm - 2 * opening_border_mm) * out.px_per_mm));
    const int rows = std::max(8, static_cast<int>((opening.height_mm - opening_border_mm) * out.px_per_mm));
    out.look.create(rows, columns, CV_32FC3);
    for (int r = 0; r < rows; ++r)
        for (int c = 0; c < columns; ++c) {
            const CardPoint place{out.x_mm(c), out.y_mm(r)};
            const Vector3 rgb = response_at(photo, pose.project({place.x_mm, place.y_mm, 0}));
            cv::Vec3f look(0, 0, 0);
            if (std::isfinite(rgb[0])) {
                const Vector3 v = fit.undo(rgb, place);
                for (int k = 0; k < 3; ++k)
                    look[k] = static_cast<float>(std::cbrt(
                        std::max(0.0, v[static_cast<std::size_t>(k)] / white[static_cast<std::size_t>(k)])));
            }
            out.look.at<cv::Vec3f>(r, c) = look;
        }
    cv::GaussianBlur(out.look, out.look, {0, 0}, smoothed_px(out.px_per_mm));
    return out;
}

EdgeStrength::EdgeStrength(const cv::Mat& look, const std::vector<bool>& looked_at) {
    for (int c = 0; c < look.cols; c += 3)
        if (looked_at.empty() || looked_at[static_cast<std::size_t>(c)]) columns_.push_back(c);
    cv::Mat dy;
    cv::Sobel(look, dy, CV_32F, 0, 1, 3, 1.0 / 8);
    strength_.create(look.size(), CV_32F);
    for (int r = 0; r < look.rows; ++r)
        for (int c = 0; c < look.cols; ++c) {
            const cv::Vec3f d = dy.at<cv::Vec3f>(r, c);
            strength_.at<float>(r, c) = std::min(0.05F, std::sqrt(d.dot(d)));
        }
}

double EdgeStrength::along(double row, double slope) const {
    double sum = 0;
    std::size_t n = 0;
    const double middle = strength_.cols / 2.0;
    for (const int c : columns_) {
        const double y = row + slope * (c - middle);
        const int r = static_cast<int>(std::floor(y));
        if (r < 0 || r + 1 >= strength_.rows) continue;
        const double f = y - r;
        sum += (1 - f) * strength_.at<float>(r, c) + f * strength_.at<float>(r + 1, c);
        ++n;
    }
    return n == 0 || 2 * n < columns_.size() ? 0.0 : sum / static_cast<double>(n);
}

Line EdgeStrength::best_of_slope(double row, double slope, double reach_rows) const {
    Line best{row, slope, -1};
    for (double r = row - reach_rows; r <= row + reach_rows; r += 0.25)
        if (const double strength = along(r, slope); strength > best.strength) best = {r, slope, strength};
    return best;
}

Line EdgeStrength::best_near(double row, double slope, double reach_rows, double reach_slope) const {
    Line best{row, slope, -1};
    for (double s = slope - reach_slope; s <= slope + reach_slope + 1e-9; s += reach_slope / 8)
        if (const Line line = best_of_slope(row, s, reach_rows); line.strength > best.strength) best = line;
    return best;
}

// step: rows towards the outside, +1 or -1.
Line EdgeStrength::outermost_near(double row, double slope, double reach_rows, int step) const {
    // The shares are tuned on rendered photos (seeds 700000 on, 710000 on).
    constexpr double strong = 0.6, level = 0.999;
    std::vector<Line> lines;  // from the outside
    for (double r = reach_rows; r >= -reach_rows; r -= 0.25)
        lines.push_back({row + step * r, slope, along(row + step * r, slope)});
    const auto weaker = [](const Line& a, const Line& b) { return a.strength < b.strength; };
    const auto best = std::max_element(lines.begin(), lines.end(), weaker);
    for (auto line = lines.begin() + 1; line < best; ++line) {
        if (line->strength < strong * best->strength || line->strength < (line - 1)->strength ||
            line->strength < (line + 1)->strength)
            continue;
        return middle_of_plateau(line, lines.end(), level);
    }
    return middle_of_plateau(best, lines.end(), level);
}

RodEdges EdgeStrength::rod_edges_near(const Line& upper, const Line& lower, double reach_rows, double reach_turn, double reach_taper) const {
    constexpr double step = 0.00075;
    const int turns = static_cast<int>(std::lround(reach_turn / step)), tapers = static_cast<int>(std::lround(reach_taper / step));
    const auto strongest_of = [&](const Line& line) {
        std::vector<double> out;
        for (int k = -turns - tapers; k <= turns + tapers; ++k) out.push_back(best_of_slope(line.row, line.slope + k * step, reach_rows).strength);
        return out;
    };
    const std::vector<double> uppers = strongest_of(upper), lowers = strongest_of(lower);
    const auto at = [&](int k) { return static_cast<std::size_t>(k + turns + tapers); };
    double most = -1;
    double upper_slope = upper.slope, lower_slope = lower.slope;
    for (int a = -turns; a <= turns; ++a)
        for (int t = -tapers; t <= tapers; ++t) {
            const double sum = uppers[at(a - t)] + lowers[at(a + t)];
            if (sum <= most) continue;
            most = sum;
            upper_slope = upper.slope + (a - t) * step;
            lower_slope = lower.slope + (a + t) * step;
        }
    return {outermost_near(upper.row, upper_slope, reach_rows, -1), outermost_near(lower.row, lower_slope, reach_rows, +1)};
}

Line EdgeStrength::strongest() const {
    constexpr double step = 0.005;
    Line best{0, 0, 0};
    double most = 0;
    for (double slope = -steepest_slope; slope <= steepest_slope + 1e-9; slope += step) {
        double sum = 0;
        Line own{0, slope, 0};
        for (double row = 2; row < strength_.rows - 2; row += 1) {
            const double strength = along(row, slope);
            sum += strength * strength;
            if (strength > own.strength) own = {row, slope, strength};
        }
        if (sum <= most) continue;
        most = sum;
        best = own;
    }
    return best;
}

}  // namespace bindhue::capture

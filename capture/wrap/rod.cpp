#include "wrap/rod.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <optional>
#include <string>

#include <opencv2/core.hpp>

#include "wrap/opening.hpp"

namespace bindhue::capture {
namespace {

constexpr double thinnest_mm = 1.0;      // rods below are not met; lines this close are a gloss streak
constexpr double free_mm = 0.75;           // between a rod and the opening's long sides: what reaches them is the bench
constexpr double widest_streak_mm = 3.5;  // that a coat mirrors, with its blur

// The opening as the lens sees what lies below the card's plane: smaller, about the point under the lens. A band's edge is bowed by that.
struct Bow {
    double lens_column = 0, lens_mm = 1;  // where the point under the lens lies; the lens above the card
    double column(double at, double depth_mm) const {
        return lens_column + (at - lens_column) * lens_mm / (lens_mm + depth_mm);
    }
};

// What one row of the sheared picture shows along the opening, if what is seen there lies that far below the card.
struct RowPattern {
    std::vector<float> change;  // within about a millimetre: bands have sharp ends, shadows on the bench and the light's own gradient have none
    std::vector<float> level;   // about its own line: a guide beside the rod has sharp ends too, but not the lengths of bands between them
};

// About the straight line through them: shade that runs along the opening goes, bands stay.
void remove_trend(std::vector<cv::Vec3f>& places) {
    const auto n = static_cast<float>(places.size());
    const float middle = (n - 1) / 2, squares = n * (n * n - 1) / 12;
    cv::Vec3f mean(0, 0, 0), trend(0, 0, 0);
    for (std::size_t c = 0; c < places.size(); ++c) {
        mean += places[c] / n;
        trend += places[c] * ((static_cast<float>(c) - middle) / squares);
    }
    for (std::size_t c = 0; c < places.size(); ++c) places[c] -= mean + trend * (static_cast<float>(c) - middle);
}

RowPattern row_pattern(const cv::Mat& look, double row, double slope, double px_per_mm, const Bow& bow, double depth_mm) {
    RowPattern out;
    const double middle = look.cols / 2.0;
    const int step = std::max(1, static_cast<int>(0.5 * px_per_mm));
    std::vector<cv::Vec3f> places;
    for (int c = 0; c < look.cols; ++c) {
        const double column = bow.column(c, depth_mm);
        const int r = std::clamp(static_cast<int>(std::lround(row + slope * (column - middle))), 0, look.rows - 1);
        places.push_back(look.at<cv::Vec3f>(r, std::clamp(static_cast<int>(std::lround(column)), 0, look.cols - 1)));
    }
    std::vector<cv::Vec3f> levels = places;
    remove_trend(levels);
    for (int c = step; c + step < look.cols; c += 2) {
        const auto at = static_cast<std::size_t>(c), beside = static_cast<std::size_t>(step);
        const cv::Vec3f change = places[at + beside] - places[at - beside], level = levels[at];
        out.change.insert(out.change.end(), {change[0], change[1], change[2]});
        out.level.insert(out.level.end(), {level[0], level[1], level[2]});
    }
    return out;
}

double dot(const std::vector<float>& a, const std::vector<float>& b) {
    return std::inner_product(a.begin(), a.end(), b.begin(), 0.0);
}

struct Extent {
    double slope = 0, first_row = 0, last_row = 0;
};

double spread_of(const std::vector<float>& pattern) {
    return std::sqrt(dot(pattern, pattern) / static_cast<double>(pattern.size()));
}

// squares: of each with itself.
double likeness(const std::vector<float>& a, const std::vector<float>& b, double squares_a, double squares_b) {
    const double both = std::sqrt(squares_a * squares_b);
    return both > 0 ? dot(a, b) / both : 0.0;
}
double likeness(const std::vector<float>& a, const std::vector<float>& b) { return likeness(a, b, dot(a, a), dot(b, b)); }

// The last row that shows the pattern, from that one outwards and over gloss streaks. The rod's surface falls away from the card's plane
// on the way, or rises first if the row lies beyond its top.
double last_like(const cv::Mat& look, std::size_t from, int step, const RowPattern& pattern, double slope, double px_per_mm,
                 const Bow& bow) {
    // Tuned on rendered photos (seeds 700000 on, 710000 on, guides 850000 on and 860000 on).
    constexpr double least_likeness = 0.4, least_spread = 0.25, depth_step_mm = 0.5;
    const auto widest_streak = static_cast<int>(widest_streak_mm * px_per_mm) + 1;
    const double clear = spread_of(pattern.change);
    int last = static_cast<int>(from), misses = 0;
    double depth = 0;
    for (int r = last; r >= 0 && r < look.rows && misses <= widest_streak; r += step) {
        double best = -1, best_depth = depth;
        RowPattern here;
        for (int k = -1; k <= 2; ++k) {
            const double at = depth + k * depth_step_mm;
            RowPattern candidate = row_pattern(look, r, slope, px_per_mm, bow, at);
            if (const double like = likeness(pattern.change, candidate.change); like > best) {
                best = like;
                best_depth = at;
                here = std::move(candidate);
            }
        }
        const double level = likeness(pattern.level, here.level);
        if (std::min(level, (best + level) / 2) > least_likeness && spread_of(here.change) > least_spread * clear) {
            last = r;
            depth = best_depth;
            misses = 0;
        } else {
            ++misses;
        }
    }
    return last;
}

// Bands cross the whole rod and nothing else: rows that share a pattern along the opening are the rod. A streak that the coat
// mirrors has a pattern of its own, but few rows. The slope is known: a row that crosses the rod's edge would show a pattern too.
// spent: rows that are known not to be the rod.
std::optional<Extent> extent_by_bands(const cv::Mat& look, double slope, double px_per_mm, const Bow& bow,
                                      const std::vector<bool>& spent) {
    const auto rows = static_cast<std::size_t>(look.rows);
    std::vector<RowPattern> patterns;
    std::vector<double> squares, spread;
    for (std::size_t r = 0; r < rows; ++r) {
        patterns.push_back(row_pattern(look, static_cast<double>(r), slope, px_per_mm, bow, 0));
        squares.push_back(dot(patterns[r].change, patterns[r].change));
        spread.push_back(std::sqrt(squares[r] / static_cast<double>(patterns[r].change.size())));
    }
    // A streak's rows are alike, but lie close together. By squares, the few rows of bands outweigh the many that share the end of a
    // shadow. Tuned on rendered photos (seeds 700000 on, 710000 on, guides 850000 on and 860000 on).
    constexpr double alike = 0.6;
    const auto beyond_streak = static_cast<std::size_t>(thinnest_mm * px_per_mm);
    std::vector<double> support(rows, 0.0);
    for (std::size_t r = 0; r < rows; r += 2)
        for (std::size_t other = r + 2; other < rows; other += 2) {
            if (other - r < beyond_streak) continue;
            const double like = likeness(patterns[r].change, patterns[other].change, squares[r], squares[other]);
            if (like <= alike) continue;
            const double clear = like * std::pow(std::min(spread[r], spread[other]), 2);
            support[r] += clear;
            support[other] += clear;
        }
    double best = 0;
    std::size_t clearest = 0;
    for (std::size_t r = 0; r < rows; r += 2)
        if (!spent[r] && support[r] > best) {
            best = support[r];
            clearest = r;
        }
    if (spread[clearest] < 0.004) return std::nullopt;  // of cube-root response: one edge of about 4 L*
    const auto reach = [&](int step) { return last_like(look, clearest, step, patterns[clearest], slope, px_per_mm, bow); };
    return Extent{slope, reach(-1), reach(+1)};
}

// Without bands: the outermost pair of strong lines of nearly that slope.
std::optional<Extent> extent_by_edges(const cv::Mat& look, const EdgeStrength& edges, const Line& strongest) {
    const auto strong = [&](double row) {
        return edges.best_near(row, strongest.slope, 0.5, 0.02).strength > 0.4 * strongest.strength;
    };
    double first = 2, last = look.rows - 3;
    while (first < last && !strong(first)) ++first;
    while (last > first && !strong(last)) --last;
    if (first >= last) return std::nullopt;
    return Extent{strongest.slope, first, last};
}

// Tangents from the lens to a circle whose top is level with the card: from where they cross the card's
// plane, the circle.
struct Circle {
    double axis_y = 0, radius = 0;
};
Circle circle_between(double y_first, double y_last, const CardSpace& lens) {
    const double t1 = std::atan2(y_first - lens.y, lens.z), t2 = std::atan2(y_last - lens.y, lens.z);
    const double phi = (t1 + t2) / 2, ratio = std::sin((t2 - t1) / 2) / std::cos(phi);
    const double radius = lens.z * ratio / (1 - ratio);
    return {lens.y + (lens.z + radius) * std::tan(phi), radius};
}

Error refuse(const OpeningImage& image, std::string what, std::string mend) {
    return {Reason::cannot_measure, std::move(what), image.photo, std::move(mend)};
}

}  // namespace

CardPoint Rod::top(double s) const { return {opening_x_mm + s, axis_y_mm + axis_slope * s}; }

CardSpace Rod::surface(double s, double theta) const {
    const double length = std::hypot(1.0, axis_slope), r = radius_at(s), across = r * std::sin(theta);
    const CardPoint axis = top(s);
    return {axis.x_mm - across * axis_slope / length, axis.y_mm + across / length,
            r * (std::cos(theta) - 1.0)};
}

double Rod::facing_camera(double s, const CardPose& pose) const {
    const CardSpace lens = pose.camera_position();
    const CardPoint axis = top(s);
    const double length = std::hypot(1.0, axis_slope);
    const double across = (-(lens.x - axis.x_mm) * axis_slope + (lens.y - axis.y_mm)) / length;
    return std::atan2(across, lens.z + radius_at(s));
}

double Rod::strip_px(double s, const CardPose& pose) const {
    return 2 * std::sin(15.0 * CV_PI / 180) * radius_at(s) * pose.px_per_mm;
}

Rod rod_between(const OpeningImage& image, const RodEdges& seen, const CardSpace& lens) {
    const CardRect& opening = image.opening;
    const double middle = image.look.cols / 2.0, last_column = image.look.cols - 1;
    const auto circle_at = [&](double column) {
        return circle_between(image.y_mm(row_on(seen.upper, column, middle)), image.y_mm(row_on(seen.lower, column, middle)), lens);
    };
    const Circle left = circle_at(0), right = circle_at(last_column);
    const double span = image.x_mm(last_column) - image.x_mm(0);

    Rod rod;
    rod.opening_x_mm = opening.x_mm;
    rod.axis_slope = (right.axis_y - left.axis_y) / span;
    rod.axis_y_mm = left.axis_y - rod.axis_slope * (image.x_mm(0) - opening.x_mm);
    rod.radius_slope = (right.radius - left.radius) / span;
    rod.radius_mm = left.radius - rod.radius_slope * (image.x_mm(0) - opening.x_mm);
    rod.s_begin = opening_border_mm;
    rod.s_end = opening.width_mm - opening_border_mm;
    return rod;
}

Result<Rod> find_rod(const OpeningImage& image, const CardPose& pose) {
    const EdgeStrength edges(image.look);

    const CardSpace lens = pose.camera_position();
    const Bow bow{(lens.x - image.x0) * image.px_per_mm - 0.5, lens.z};

    // The rod's edges, and the streaks that its coat mirrors, are the straightest things in the opening, and parallel.
    const Line strongest = edges.strongest();
    std::optional<Extent> extent;
    if (strongest.strength > 0.004) {
        const std::optional<Extent> outlines = extent_by_edges(image.look, edges, strongest);
        const auto rows = [](const std::optional<Extent>& e) { return e ? e->last_row - e->first_row : 0.0; };
        // Bands that end where there is no edge are shadows on the bench; bands that fill less than a fifth of what lies
        // between the outlines are a streak's doing, or too faint.
        const auto edge_near = [&](double row) {
            return edges.best_near(row, strongest.slope, 0.5 * image.px_per_mm, 0.012).strength;
        };
        const auto inside = [&](const Extent& bands) {
            return bands.first_row > free_mm * image.px_per_mm &&
                   bands.last_row < image.look.rows - 1 - free_mm * image.px_per_mm &&
                   rows(bands) >= thinnest_mm * image.px_per_mm;
        };
        const auto edge_of = [&](const Extent& bands) { return std::min(edge_near(bands.first_row), edge_near(bands.last_row)) / strongest.strength; };
        std::optional<Extent> unsure;
        std::vector<bool> spent(static_cast<std::size_t>(image.look.rows), false);
        for (int tries = 0; tries < 3 && !extent; ++tries) {
            const std::optional<Extent> bands =
                extent_by_bands(image.look, strongest.slope, image.px_per_mm, bow, spent);
            if (!bands) break;
            if (inside(*bands) && rows(bands) >= 0.2 * rows(outlines)) {
                if (edge_of(*bands) > 0.3) extent = bands;
                else if (!unsure) unsure = bands;
            }
            std::fill(spent.begin() + static_cast<std::ptrdiff_t>(bands->first_row),
                      spent.begin() + static_cast<std::ptrdiff_t>(bands->last_row) + 1, true);
        }
        // Beside a lamp's image, and in its own shade, the rod's own edges look weak: bands that fill most of what lies between the outlines, or more than that, are the rod all the same.
        const auto of_one_rod = [&](const Extent& bands) {
            if (edge_of(bands) < 0.15) return false;
            const double common = std::min(bands.last_row, outlines->last_row) - std::max(bands.first_row, outlines->first_row);
            return common > 0.85 * std::min(rows(bands), rows(outlines)) && rows(bands) > 0.5 * rows(outlines);
        };
        if (!extent) extent = unsure && (!outlines || of_one_rod(*unsure) || rows(unsure) > 3 * rows(outlines)) ? unsure : outlines;
        if (rows(extent) < thinnest_mm * image.px_per_mm) extent.reset();
    }
    if (!extent)
        return refuse(image, "no rod was found in the card's opening",
                      "lay the wrap along the opening, in focus, on a plain ground that differs from the blank");

    // Near enough not to jump to a streak inside the rod or to its shadow's edge; as tapered as a tip section is. Turns of up to 0.0045 found axes
    // better than of up to 0.003 on rendered photos (own ones from seeds 1700000 and 1710000 on, path-traced ones 100 to 125, 5000 to 5017 and as many by phone).
    const double reach = 0.5 * image.px_per_mm, turn = 0.0045, taper = 0.009;
    const RodEdges seen = edges.rod_edges_near({extent->first_row, extent->slope}, {extent->last_row, extent->slope}, reach, turn, taper);
    Rod rod = rod_between(image, seen, lens);
    rod.edge_share = std::min(share_at_once(image, seen.upper), share_at_once(image, seen.lower));
    const double thinnest = std::min(rod.radius_at(rod.s_begin), rod.radius_at(rod.s_end));
    const double thickest = std::max(rod.radius_at(rod.s_begin), rod.radius_at(rod.s_end));
    if (!(thinnest * 2 > thinnest_mm) || thickest * 2 > image.opening.height_mm)
        return refuse(image, "no rod was found in the card's opening",
                      "lay the wrap along the opening, in focus, on a plain ground that differs from the blank");
    const double strip_px = std::min(rod.strip_px(rod.s_begin, pose), rod.strip_px(rod.s_end, pose));
    if (strip_px < fewest_strip_px)
        return refuse(image,
                      "the rod is too thin in the picture: the strip that faces the camera is " + std::to_string(static_cast<int>(strip_px)) + " pixels wide",
                      "come nearer or use a longer lens, to at least " + std::to_string(static_cast<int>(std::ceil(pose.px_per_mm * fewest_strip_px / strip_px))) +
                          " px/mm (now " + std::to_string(static_cast<int>(pose.px_per_mm)) + ")");
    return rod;
}

Skin unroll(const Photo& photo, const CardPose& pose, const CameraFit& fit, const Rod& rod) {
    Skin skin;
    constexpr double reach = 60.0 * CV_PI / 180;
    const double radius = rod.radius_at((rod.s_begin + rod.s_end) / 2);
    const int rows = std::clamp(static_cast<int>(2 * reach * radius * pose.px_per_mm), 41, 241) | 1;
    for (int r = 0; r < rows; ++r) skin.theta.push_back(-reach + 2 * reach * r / (rows - 1));
    skin.row_px = 2 * reach / (rows - 1) * radius * pose.px_per_mm;
    skin.ds = 1.0 / std::min(pose.px_per_mm, 40.0);
    skin.columns = static_cast<std::size_t>((rod.s_end - rod.s_begin) / skin.ds);
    skin.s_begin = rod.s_begin + skin.ds / 2;
    skin.values.resize(skin.theta.size() * skin.columns);
    for (std::size_t c = 0; c < skin.columns; ++c) {
        const double s = skin.s_of(c);
        const Vector3 light = fit.field.at(rod.top(s));
        for (std::size_t r = 0; r < skin.theta.size(); ++r) {
            Vector3 v = response_at(photo, pose.project(rod.surface(s, skin.theta[r])));
            if (std::isfinite(v[0])) {
                v = fit.undo(v, std::nullopt);
                for (std::size_t k = 0; k < 3; ++k) v[k] /= light[k];
            }
            skin.values[r * skin.columns + c] = v;
        }
    }
    return skin;
}

}  // namespace bindhue::capture

#include "card/pose.hpp"

#include <algorithm>
#include <cmath>
#include <string>

#include <opencv2/aruco.hpp>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgproc.hpp>

#include "colour/quantile.hpp"

namespace bindhue::capture {
namespace {

constexpr int search_side =
    1600;  // fiducials are searched on an image no larger than this: full scale costs many decodes
constexpr int quick_side = 720;
constexpr double worst_tilt_deg = 45.0;   // beyond, the card's own sheen and its thickness spoil the patches
constexpr double fewest_px_per_mm = 3.0;  // below, a 9 mm patch has too few pixels clear of its edges

struct FoundMarker {
    int id = 0;
    std::array<cv::Point2f, 4> corners;
};

cv::Mat grey_8bit(const Photo& photo) {
    cv::Mat grey;
    cv::cvtColor(photo.bgr, grey, cv::COLOR_BGR2GRAY);
    if (grey.depth() == CV_16U) {
        // Linear files are dark to a detector that was made for encoded ones.
        double high = 0;
        cv::minMaxLoc(grey, nullptr, &high);
        grey.convertTo(grey, CV_32F, 1.0 / std::max(high, 1.0));
        if (photo.linear) cv::sqrt(grey, grey);
        grey.convertTo(grey, CV_8U, 255.0);
    } else if (photo.linear) {
        cv::Mat curve(1, 256, CV_8U);
        for (int i = 0; i < 256; ++i) curve.at<uchar>(i) = cv::saturate_cast<uchar>(std::sqrt(i * 255.0));
        cv::LUT(grey, curve, grey);
    }
    return grey;
}

std::vector<FoundMarker> detect(const cv::Mat& grey, int side, FiducialFamily family) {
    cv::Mat small = grey;
    const double scale = std::min(1.0, static_cast<double>(side) / std::max(grey.cols, grey.rows));
    if (scale < 1.0) cv::resize(grey, small, {}, scale, scale, cv::INTER_AREA);
    std::vector<std::vector<cv::Point2f>> corners;
    std::vector<int> ids;
    const auto parameters = cv::aruco::DetectorParameters::create();
    parameters->minMarkerPerimeterRate = 32.0 / std::max(small.cols, small.rows);
    parameters->adaptiveThreshWinSizeMax = 43;
    cv::aruco::detectMarkers(small, cv::aruco::getPredefinedDictionary(opencv_dictionary(family)), corners,
                             ids, parameters);
    std::vector<FoundMarker> out;
    for (std::size_t i = 0; i < ids.size(); ++i) {
        FoundMarker marker{ids[i], {}};
        for (std::size_t k = 0; k < 4; ++k)
            // Reduction by area moves pixel centres by half a pixel of each scale.
            marker.corners[k] =
                (corners[i][k] + cv::Point2f(0.5F, 0.5F)) * (1.0 / scale) - cv::Point2f(0.5F, 0.5F);
        out.push_back(marker);
    }
    return out;
}

// Where the picture crosses half way from dark to light along a line from a to b (dark first), 0..1; negative if it does not.
double half_crossing(const cv::Mat& grey, const cv::Point2d& a, const cv::Point2d& b) {
    constexpr int steps = 24;
    std::array<double, steps + 1> level{};
    for (int i = 0; i <= steps; ++i) {
        const cv::Point2d p = a + (b - a) * (static_cast<double>(i) / steps);
        const int x = static_cast<int>(std::floor(p.x)), y = static_cast<int>(std::floor(p.y));
        if (x < 0 || y < 0 || x + 1 >= grey.cols || y + 1 >= grey.rows) return -1;
        const double fx = p.x - x, fy = p.y - y;
        level[static_cast<std::size_t>(i)] =
            (1 - fy) * ((1 - fx) * grey.at<uchar>(y, x) + fx * grey.at<uchar>(y, x + 1)) +
            fy * ((1 - fx) * grey.at<uchar>(y + 1, x) + fx * grey.at<uchar>(y + 1, x + 1));
    }
    // Half way in light, not in the file's values: a lens blurs light, and half of the values lies on the dark side of the edge.
    for (double& v : level) v *= v;
    const double dark = (level[0] + level[1] + level[2]) / 3,
                 light = (level[steps] + level[steps - 1] + level[steps - 2]) / 3;
    if (std::sqrt(light) - std::sqrt(dark) < 20) return -1;
    const double half = (dark + light) / 2;
    for (std::size_t i = 0; i < steps; ++i)
        if (level[i] <= half && level[i + 1] > half)
            return (static_cast<double>(i) + (half - level[i]) / (level[i + 1] - level[i])) / steps;
    return -1;
}

// Corners as crossings of the lines along the marker's sides. A corner itself is rounded by blur, towards the inside.
void refine(const cv::Mat& grey, FoundMarker& marker) {
    const std::array<cv::Point2f, 4> rough = marker.corners;
    std::array<cv::Vec4f, 4> sides;  // direction and a point
    for (std::size_t k = 0; k < 4; ++k) {
        const cv::Point2d from = rough[k], to = rough[(k + 1) % 4], along = to - from;
        // Outwards, for corners in the order in which the dictionary is read (clockwise in a picture with y down).
        const cv::Point2d out(along.y, -along.x);
        const double cell =
            1.0 / 6;  // a 4x4 marker is six cells wide; black border of one; others have finer cells
        std::vector<cv::Point2f> edge;
        for (double t = 0.15; t <= 0.85; t += 0.035) {
            const cv::Point2d middle = from + along * t, inside = middle - out * (0.5 * cell),
                              outside = middle + out * (0.5 * cell);
            if (const double at = half_crossing(grey, inside, outside); at >= 0)
                edge.emplace_back(inside + (outside - inside) * at);
        }
        if (edge.size() < 8) return;
        cv::fitLine(edge, sides[k], cv::DIST_HUBER, 0, 0.01, 0.01);
    }
    for (std::size_t k = 0; k < 4; ++k) {
        const cv::Vec4f &a = sides[(k + 3) % 4], &b = sides[k];
        const float det = a[0] * b[1] - a[1] * b[0];
        if (std::abs(det) < 1e-3F) return;
        const float t = ((b[2] - a[2]) * b[1] - (b[3] - a[3]) * b[0]) / det;
        const cv::Point2f corner(a[2] + t * a[0], a[3] + t * a[1]);
        if (cv::norm(corner - rough[k]) < 0.15 * cv::norm(rough[0] - rough[2])) marker.corners[k] = corner;
    }
}

Error refuse(const Photo& photo, std::string what, std::string mend) {
    return {Reason::cannot_measure, std::move(what), photo.source, std::move(mend)};
}

Error too_small(const Photo& photo, double px_per_mm) {
    return refuse(photo, "the card is too small in the picture (" + std::to_string(px_per_mm).substr(0, 3) + " px/mm)", "come nearer until the card fills the picture");
}

// A corner of a square on the card, in card millimetres, with its neighbours along the square's outline, and where it was seen.
struct SeenCorner {
    cv::Point2d place, before, after;
    cv::Point2d pixel;
};

void add_outline(const CardRect& r, const CardCorners& seen, std::vector<SeenCorner>& out) {
    const std::array<cv::Point2d, 4> places{
        {{r.x_mm, r.y_mm}, {r.right_mm(), r.y_mm}, {r.right_mm(), r.bottom_mm()}, {r.x_mm, r.bottom_mm()}}};
    for (std::size_t k = 0; k < 4; ++k)
        out.push_back({places[k], places[(k + 3) % 4], places[(k + 1) % 4], seen[k]});
}

// Width and height of what the points span.
cv::Size2d extent(const std::vector<cv::Point2d>& points) {
    const auto [left, right] = std::minmax_element(points.begin(), points.end(),
                                                   [](const auto& a, const auto& b) { return a.x < b.x; });
    const auto [top, bottom] = std::minmax_element(points.begin(), points.end(),
                                                   [](const auto& a, const auto& b) { return a.y < b.y; });
    return {right->x - left->x, bottom->y - top->y};
}

using PoseParameters = cv::Vec<double, 11>;

// Least squares over the pose and what else decides where corners appear, each with a prior, since a card seen nearly square on
// tells little about its camera:
//   0..2 rotation vector,
//   3..4 translation over depth, 5 logarithm of depth (mm) over focal length (expected ones): what the picture tells, whatever the lens,
//   6    logarithm of focal length over the expected one,
//   7    radial displacement at the picture's corner, relative,
//   8    how far edges appear outside their place, pixels: half way from dark to light in the file's values is not half way in light,
//        by as much as tone curve and sharpening say; left out, it passes for lens distortion.
//   9..10 the lens's axis from the picture's middle, over the longer side: stabilised and cropped pictures.
class PoseProblem {
  public:
    PoseProblem(const std::vector<SeenCorner>& corners, cv::Size size, double focal_px, double focal_spread)
        : corners_(corners), size_(size), focal_px_(focal_px), spread_{focal_spread, 0.03, 0.5, 0.01, 0.01} {}

    double sigma_px = 1;
    bool edges_shift = true;  // corners given by hand are where they were pointed at

    CardPose pose(const PoseParameters& p) const {
        CardPose out;
        const double focal = focal_px_ * std::exp(std::clamp(p[6], -3.0, 3.0));
        const double longer = std::max(size_.width, size_.height);
        out.camera = {focal, 0,     (size_.width - 1) / 2.0 + p[9] * longer,
                      0,     focal, (size_.height - 1) / 2.0 + p[10] * longer,
                      0,     0,     1};
        const double half = 0.5 * std::hypot(size_.width, size_.height) / focal;
        out.distortion = p[7] / (half * half);
        cv::Rodrigues(cv::Vec3d(p[0], p[1], p[2]), out.rotation);
        const double depth = std::exp(std::clamp(p[5] + p[6], -20.0, 20.0));
        out.translation = {p[3] * depth * std::exp(-p[6]), p[4] * depth * std::exp(-p[6]), depth};
        return out;
    }

    // Pixels between where a corner should appear and where it was seen.
    std::vector<cv::Point2d> misses(const PoseParameters& p) const {
        const CardPose at = pose(p);
        const auto place = [&](const cv::Point2d& q) { return at.project({q.x, q.y, 0}); };
        std::vector<cv::Point2d> out;
        for (const SeenCorner& c : corners_) {
            const cv::Point2d here = place(c.place);
            cv::Point2d along = here - place(c.before), back = here - place(c.after);
            along *= 1 / std::max(cv::norm(along), 1e-9);
            back *= 1 / std::max(cv::norm(back), 1e-9);
            const double sine = std::max(std::abs(along.cross(back)), 0.1);
            out.push_back(here + (p[8] / sine) * (along + back) - c.pixel);
        }
        return out;
    }

    // Levenberg and Marquardt's step; the valley of focal length, depth and tilt is long and flat, so it goes on until nothing is gained.
    PoseParameters improve(PoseParameters p) const {
        double damping = 1e-3, cost_here = cost(p);
        for (int round = 0; round < 100 && damping < 1e9; ++round) {
            const std::vector<double> here = residuals(p);
            cv::Mat jacobian(static_cast<int>(here.size()), PoseParameters::rows, CV_64F);
            for (int k = 0; k < PoseParameters::rows; ++k) {
                constexpr double h = 1e-6;
                PoseParameters q = p;
                q[k] += h;
                const std::vector<double> there = residuals(q);
                for (std::size_t i = 0; i < here.size(); ++i)
                    jacobian.at<double>(static_cast<int>(i), k) = (there[i] - here[i]) / h;
            }
            const cv::Mat square = jacobian.t() * jacobian, gradient = jacobian.t() * cv::Mat(here, false);
            double gain = 0;
            for (; damping < 1e9; damping *= 8) {
                cv::Mat damped = square.clone(), step;
                for (int k = 0; k < PoseParameters::rows; ++k) damped.at<double>(k, k) *= 1 + damping;
                if (!cv::solve(damped, gradient, step, cv::DECOMP_CHOLESKY)) continue;
                const PoseParameters there = p - PoseParameters(step.ptr<double>());
                const double cost_there = cost(there);
                if (!(cost_there < cost_here)) continue;
                gain = cost_here - cost_there;
                p = there;
                cost_here = cost_there;
                damping /= 8;
                break;
            }
            if (gain < 1e-9 * cost_here + 1e-12) break;
        }
        return p;
    }

    // Standard deviation of a corner along one axis, pixels, by the median miss (of a Rayleigh distribution).
    double scatter(const PoseParameters& p) const {
        std::vector<double> lengths;
        for (const cv::Point2d& miss : misses(p)) lengths.push_back(cv::norm(miss));
        const double n = 2.0 * static_cast<double>(lengths.size());
        return std::clamp(median(lengths) / 1.177 * std::sqrt(n / std::max(n - int{PoseParameters::rows}, 1.0)), 0.03,
                          3.0);
    }

    double cost(const PoseParameters& p) const {
        double sum = 0;
        for (const double r : residuals(p)) sum += r * r;
        return sum;
    }

  private:
    const std::vector<SeenCorner>& corners_;
    cv::Size size_;
    double focal_px_;
    // Of parameters 6 and on. All but the first are guesses; 0.01 of the longer side is 0.36 mm of a small-format frame.
    std::array<double, 5> spread_;

    std::vector<double> residuals(const PoseParameters& p) const {
        std::vector<double> out;
        for (const cv::Point2d& miss : misses(p)) {
            // Huber's loss, over the length: a corner beyond 2 sigma pulls no harder than one at 2.
            const double length = cv::norm(miss) / sigma_px, bound = 2;
            const double share =
                length <= bound ? 1.0 : std::sqrt(2 * bound * length - bound * bound) / length;
            const cv::Point2d r = miss * (share / sigma_px);
            out.push_back(r.x);
            out.push_back(r.y);
        }
        for (std::size_t k = 0; k < spread_.size(); ++k)
            out.push_back(p[6 + static_cast<int>(k)] / spread_[k]);
        if (!edges_shift) out.push_back(1e6 * p[8]);
        return out;
    }
};

Result<CardPose> solve_pose(const Photo& photo, const std::vector<SeenCorner>& corners, bool by_hand) {
    const cv::Size size = photo.bgr.size();
    double focal = std::max(size.width, size.height),
           spread = 0.5;  // a lens of 36 mm, and most others within a factor of 2.7
    if (photo.focal_35mm > 5 && photo.focal_35mm < 1000) {
        focal =
            photo.focal_35mm / 43.267 * std::hypot(size.width, size.height);  // the diagonal of 24 x 36 mm
        spread = 0.05;  // whole millimetres, and the crop of a stabilised picture: a guess
    }
    PoseProblem problem(corners, size, focal, spread);
    problem.edges_shift = !by_hand;

    std::vector<cv::Point3d> object;
    std::vector<cv::Point2d> image;
    for (const SeenCorner& c : corners) {
        object.emplace_back(c.place.x, c.place.y, 0);
        image.push_back(c.pixel);
    }
    const auto refuse_shape = [&] {
        return refuse(photo, "the card's fiducials do not lie as on a flat card",
                      "flatten the card, or check that the layout is that of this card");
    };
    try {
        const cv::Matx33d camera(focal, 0, (size.width - 1) / 2.0, 0, focal, (size.height - 1) / 2.0, 0, 0,
                                 1);
        std::vector<cv::Mat> rotations, translations;
        // A plane seen from afar looks alike from two sides: both are tried.
        cv::solvePnPGeneric(object, image, camera, cv::noArray(), rotations, translations, false,
                            cv::SOLVEPNP_IPPE);
        std::vector<PoseParameters> starts;
        for (std::size_t i = 0; i < rotations.size(); ++i) {
            const cv::Vec3d r(rotations[i]), t(translations[i]);
            if (t[2] > 0)
                starts.push_back(problem.improve(
                    {r[0], r[1], r[2], t[0] / t[2], t[1] / t[2], std::log(t[2]), 0, 0, 0, 0, 0}));
        }
        const auto best = std::min_element(starts.begin(), starts.end(), [&](const auto& a, const auto& b) {
            return problem.cost(a) < problem.cost(b);
        });
        if (best == starts.end()) return refuse_shape();
        // The corners themselves tell how well they are seen, and so how far the priors count; four given by hand can't.
        for (int round = 0; round < 12 && !by_hand; ++round) {
            const double sigma = problem.scatter(*best);
            const bool settled = sigma > 0.95 * problem.sigma_px;
            problem.sigma_px = sigma;
            *best = problem.improve(*best);
            if (settled) break;
        }
        CardPose pose = problem.pose(*best);
        double squares = 0;
        for (const cv::Point2d& miss : problem.misses(*best)) squares += miss.ddot(miss);
        pose.residual_px = std::sqrt(squares / static_cast<double>(corners.size()));
        return pose;
    } catch (const cv::Exception&) {
        return refuse_shape();
    }
}

}  // namespace

cv::Point2d CardPose::project(const CardSpace& p) const {
    const cv::Vec3d q = rotation * cv::Vec3d(p.x, p.y, -p.z) + translation;
    const double u = q[0] / q[2], v = q[1] / q[2], bend = 1.0 + distortion * (u * u + v * v);
    return {camera(0, 0) * u * bend + camera(0, 2), camera(1, 1) * v * bend + camera(1, 2)};
}

CardPoint CardPose::place_under(const cv::Point2d& pixel, const CardPoint& guess) const {
    CardPoint at = guess;
    for (int round = 0; round < 20; ++round) {
        const cv::Point2d here = project({at.x_mm, at.y_mm, 0});
        const cv::Point2d dx = project({at.x_mm + 0.1, at.y_mm, 0}) - here, dy = project({at.x_mm, at.y_mm + 0.1, 0}) - here;
        const double det = dx.x * dy.y - dx.y * dy.x;
        if (std::abs(det) < 1e-12) break;
        const cv::Point2d miss = pixel - here;
        at.x_mm += 0.1 * (miss.x * dy.y - miss.y * dy.x) / det;
        at.y_mm += 0.1 * (dx.x * miss.y - dx.y * miss.x) / det;
    }
    return at;
}

CardSpace CardPose::camera_position() const {
    const cv::Vec3d c = -(rotation.t() * translation);
    return {c[0], c[1], -c[2]};
}

Result<CardPose> find_card(const Photo& photo, const CardLayout& layout,
                           const std::optional<CardCorners>& corners, FiducialSearch search) {
    std::vector<SeenCorner> seen_corners;
    const double width = layout.width_mm, height = layout.height_mm;
    int found = 0, expected = 0;

    if (corners) {
        add_outline({0, 0, width, height}, *corners, seen_corners);
    } else {
        if (layout.markers.empty())
            return refuse(photo, "the card's layout has no fiducials to find it by",
                          "give the card's four corners with --corners");
        const auto& markers = layout.markers;
        expected = static_cast<int>(markers.size());
        const cv::Mat grey = grey_8bit(photo);
        std::vector<FoundMarker> seen;
        const int longest = std::max(grey.cols, grey.rows);
        int sought = 0;  // on a picture of so many pixels
        for (const int side : {search == FiducialSearch::quick ? quick_side : search_side, 2 * search_side, longest}) {
            const bool whole_picture = side > 2 * search_side;
            if (sought >= longest || seen.size() >= (whole_picture ? 2 : markers.size())) break;
            if (sought > 0 && search == FiducialSearch::quick) break;
            std::vector<FoundMarker> closer = detect(grey, side, layout.family);
            sought = side;
            if (closer.size() > seen.size()) seen = std::move(closer);
        }
        for (FoundMarker& marker : seen) {
            const auto known = std::find_if(markers.begin(), markers.end(),
                                            [&](const auto& m) { return m.id == marker.id; });
            if (known == markers.end()) continue;
            // What was found in a reduced picture lies some pixels off, and the first pass takes its levels too near the edge.
            for (int pass = 0; pass < 2; ++pass) refine(grey, marker);
            CardCorners at;
            std::copy(marker.corners.begin(), marker.corners.end(), at.begin());
            add_outline(known->rect, at, seen_corners);
            ++found;
        }
        const auto is_mirrored = [&] {
            cv::Mat mirrored;
            cv::flip(grey, mirrored, 1);
            return detect(mirrored, search_side, layout.family).size() > 1;
        };
        if (found == 0 && search != FiducialSearch::quick && is_mirrored())
            return refuse(photo, "the picture is mirrored, as front cameras and some scanners save it", "switch mirroring off in the camera's settings, or flip the picture and read that");
        if (found == 0)
            return refuse(photo, "no calibration card was found",
                          "lay the card round the wrap, whole in the picture, in focus and not blown out, "
                          "and take the photo again");
        std::vector<cv::Point2f> flat, image;
        for (const SeenCorner& c : seen_corners) {
            flat.emplace_back(c.place);
            image.emplace_back(c.pixel);
        }
        if (found < 2) {
            if (const double px_per_mm = std::sqrt(cv::contourArea(image) / cv::contourArea(flat)); px_per_mm < fewest_px_per_mm) return too_small(photo, px_per_mm);
            return refuse(photo, "only one of the card's " + std::to_string(expected) + " fiducials was found",
                          "uncover the card's corners, keep glare off them, and come near enough for the card to fill the picture");
        }
        // A marker of another card, or one read wrongly, must not bend the pose.
        cv::Mat inliers;
        const double reach = 0.02 * cv::norm(image[0] - image[2]) + 2.0;
        const cv::Mat h = cv::findHomography(flat, image, cv::RANSAC, reach, inliers);
        if (h.empty())
            return refuse(photo, "the card's fiducials do not lie as on a flat card",
                          "flatten the card and take the photo again");
        std::vector<SeenCorner> kept;
        for (int i = 0; i < inliers.rows; ++i)
            if (inliers.at<uchar>(i)) kept.push_back(seen_corners[static_cast<std::size_t>(i)]);
        seen_corners = std::move(kept);
        if (seen_corners.size() < 8)
            return refuse(photo, "the card's fiducials do not lie as on a flat card",
                          "flatten the card, or check that the layout is that of this card");
        // A pose held at one side only swings at the other, and what hides fiducials hides patches too.
        std::vector<cv::Point2d> whole, places;
        for (const auto& m : markers) {
            whole.emplace_back(m.rect.x_mm, m.rect.y_mm);
            whole.emplace_back(m.rect.right_mm(), m.rect.bottom_mm());
        }
        for (const SeenCorner& c : seen_corners) places.push_back(c.place);
        const cv::Size2d have = extent(places), want = extent(whole);
        if (have.width < 0.5 * want.width || have.height < 0.5 * want.height)
            return refuse(photo,
                          "the card's fiducials were found on one side only (" + std::to_string(found) +
                              " of " + std::to_string(expected) + ")",
                          "uncover the card, take it in whole and keep glare off it");
    }

    Result<CardPose> pose = solve_pose(photo, seen_corners, corners.has_value());
    if (!pose) return pose;
    pose->markers_found = found;
    pose->markers_expected = expected;

    const double cx = width / 2, cy = height / 2;
    const cv::Point2d left = pose->project({cx - 5, cy, 0}), right = pose->project({cx + 5, cy, 0});
    const cv::Point2d up = pose->project({cx, cy - 5, 0}), down = pose->project({cx, cy + 5, 0});
    pose->px_per_mm = std::min(cv::norm(right - left), cv::norm(down - up)) / 10.0;
    const CardSpace lens = pose->camera_position();
    const double sight = std::hypot(lens.x - cx, lens.y - cy, lens.z);
    pose->tilt_deg = std::acos(std::clamp(lens.z / sight, -1.0, 1.0)) * 180.0 / CV_PI;

    if (!(lens.z > 0) || !std::isfinite(pose->px_per_mm))
        return refuse(
            photo, "the card's corners are not in the order upper left, upper right, lower right, lower left",
            "give the corners as the card is read, whatever way up the photo is");
    if (pose->tilt_deg > worst_tilt_deg)
        return refuse(photo,
                      "the card is seen too obliquely (" +
                          std::to_string(static_cast<int>(std::lround(pose->tilt_deg))) + " degrees)",
                      "hold the camera square above the card, within 30 degrees");
    if (pose->px_per_mm < fewest_px_per_mm) return too_small(photo, pose->px_per_mm);
    return pose;
}

}  // namespace bindhue::capture

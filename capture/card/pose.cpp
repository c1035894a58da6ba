#include "card/pose.hpp"

#include <algorithm>
#include <cmath>
#include <string>

#include <opencv2/aruco.hpp>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgproc.hpp>

namespace bindhue::capture {
namespace {

constexpr int search_side =
    1600;  // fiducials are searched on an image no larger than this: full scale costs many decodes
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
    parameters->minMarkerPerimeterRate = 0.02;
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

cv::Point3f object_point(double x_mm, double y_mm) {
    return {static_cast<float>(x_mm), static_cast<float>(y_mm), 0.0F};
}

// Width and height of what the points span.
cv::Vec2d extent(const std::vector<cv::Point3f>& points) {
    const auto [left, right] = std::minmax_element(points.begin(), points.end(),
                                                   [](const auto& a, const auto& b) { return a.x < b.x; });
    const auto [top, bottom] = std::minmax_element(points.begin(), points.end(),
                                                   [](const auto& a, const auto& b) { return a.y < b.y; });
    return {right->x - left->x, bottom->y - top->y};
}

// Pose, and one radial coefficient where there are points enough, for a given focal length.
double solve(const std::vector<cv::Point3f>& object, const std::vector<cv::Point2f>& image, cv::Size size,
             double focal, CardPose& pose) {
    cv::Mat camera = (cv::Mat_<double>(3, 3) << focal, 0, (size.width - 1) / 2.0, 0, focal,
                      (size.height - 1) / 2.0, 0, 0, 1);
    cv::Mat coefficients = cv::Mat::zeros(1, 5, CV_64F);
    int flags = cv::CALIB_USE_INTRINSIC_GUESS | cv::CALIB_FIX_FOCAL_LENGTH | cv::CALIB_FIX_PRINCIPAL_POINT |
                cv::CALIB_FIX_ASPECT_RATIO | cv::CALIB_ZERO_TANGENT_DIST | cv::CALIB_FIX_K2 |
                cv::CALIB_FIX_K3;
    if (image.size() < 12) flags |= cv::CALIB_FIX_K1;
    std::vector<cv::Mat> rotations, translations;
    const double rms = cv::calibrateCamera(std::vector<std::vector<cv::Point3f>>{object},
                                           std::vector<std::vector<cv::Point2f>>{image}, size, camera,
                                           coefficients, rotations, translations, flags);
    pose.camera = camera;
    pose.distortion = coefficients.at<double>(0);
    cv::Rodrigues(rotations[0], pose.rotation);
    pose.translation = translations[0];
    pose.residual_px = rms;
    return rms;
}

Result<CardPose> solve_pose(const Photo& photo, const std::vector<cv::Point3f>& object,
                            const std::vector<cv::Point2f>& image) {
    const cv::Size size = photo.bgr.size();
    const double diagonal = std::hypot(size.width, size.height), longer = std::max(size.width, size.height);
    CardPose best;
    try {
        if (photo.focal_35mm > 5 && photo.focal_35mm < 1000) {
            solve(object, image, size, photo.focal_35mm / 43.267 * diagonal,
                  best);  // 43.267 mm: the diagonal of 24 x 36
        } else {
            // A card seen nearly square on hardly tells the focal length: a lens of about 36 mm is taken
            // unless another fits clearly better.
            double best_rms = solve(object, image, size, longer, best);
            for (const double factor : {0.7, 1.4, 2.0, 3.0}) {
                CardPose other;
                const double rms = solve(object, image, size, factor * longer, other);
                if (rms < 0.9 * best_rms) {
                    best_rms = rms;
                    best = other;
                }
            }
        }
    } catch (const cv::Exception&) {
        return refuse(photo, "the card's fiducials do not lie as on a flat card",
                      "flatten the card, or check that the layout is that of this card");
    }
    return best;
}

}  // namespace

cv::Point2d CardPose::project(const CardSpace& p) const {
    const cv::Vec3d q = rotation * cv::Vec3d(p.x, p.y, -p.z) + translation;
    const double u = q[0] / q[2], v = q[1] / q[2], bend = 1.0 + distortion * (u * u + v * v);
    return {camera(0, 0) * u * bend + camera(0, 2), camera(1, 1) * v * bend + camera(1, 2)};
}

CardSpace CardPose::camera_position() const {
    const cv::Vec3d c = -(rotation.t() * translation);
    return {c[0], c[1], -c[2]};
}

Result<CardPose> find_card(const Photo& photo, const CardLayout& layout,
                           const std::optional<CardCorners>& corners) {
    std::vector<cv::Point3f> object;
    std::vector<cv::Point2f> image;
    const double width = layout.width_mm, height = layout.height_mm;
    int found = 0, expected = 0;

    if (corners) {
        object = {object_point(0, 0), object_point(width, 0), object_point(width, height),
                  object_point(0, height)};
        for (const cv::Point2d& c : *corners) image.emplace_back(c);
    } else {
        if (layout.markers.empty())
            return refuse(photo, "the card's layout has no fiducials to find it by",
                          "give the card's four corners with --corners");
        const auto& markers = layout.markers;
        expected = static_cast<int>(markers.size());
        const cv::Mat grey = grey_8bit(photo);
        std::vector<FoundMarker> seen = detect(grey, search_side, layout.family);
        if (seen.size() < markers.size()) {
            std::vector<FoundMarker> closer = detect(grey, 2 * search_side, layout.family);
            if (closer.size() > seen.size()) seen = std::move(closer);
        }
        for (FoundMarker& marker : seen) {
            const auto known = std::find_if(markers.begin(), markers.end(),
                                            [&](const auto& m) { return m.id == marker.id; });
            if (known == markers.end()) continue;
            refine(grey, marker);
            const CardRect& q = known->rect;
            object.insert(object.end(),
                          {object_point(q.x_mm, q.y_mm), object_point(q.right_mm(), q.y_mm),
                           object_point(q.right_mm(), q.bottom_mm()), object_point(q.x_mm, q.bottom_mm())});
            image.insert(image.end(), marker.corners.begin(), marker.corners.end());
            ++found;
        }
        if (found == 0)
            return refuse(photo, "no calibration card was found",
                          "lay the card round the wrap, whole in the picture, in focus and not blown out, "
                          "and take the photo again");
        if (found < 2)
            return refuse(photo,
                          "only one of the card's " + std::to_string(expected) + " fiducials was found",
                          "uncover the card's corners and keep glare off them");
        // A marker of another card, or one read wrongly, must not bend the pose.
        std::vector<cv::Point2f> flat;
        for (const auto& o : object) flat.emplace_back(o.x, o.y);
        cv::Mat inliers;
        const double reach = 0.02 * cv::norm(image[0] - image[2]) + 2.0;
        const cv::Mat h = cv::findHomography(flat, image, cv::RANSAC, reach, inliers);
        if (h.empty())
            return refuse(photo, "the card's fiducials do not lie as on a flat card",
                          "flatten the card and take the photo again");
        std::vector<cv::Point3f> kept_object;
        std::vector<cv::Point2f> kept_image;
        for (int i = 0; i < inliers.rows; ++i)
            if (inliers.at<uchar>(i)) {
                kept_object.push_back(object[static_cast<std::size_t>(i)]);
                kept_image.push_back(image[static_cast<std::size_t>(i)]);
            }
        object = std::move(kept_object);
        image = std::move(kept_image);
        if (object.size() < 8)
            return refuse(photo, "the card's fiducials do not lie as on a flat card",
                          "flatten the card, or check that the layout is that of this card");
        // A pose held at one side only swings at the other, and what hides fiducials hides patches too.
        std::vector<cv::Point3f> whole;
        for (const auto& m : markers) {
            whole.push_back(object_point(m.rect.x_mm, m.rect.y_mm));
            whole.push_back(object_point(m.rect.right_mm(), m.rect.bottom_mm()));
        }
        const cv::Vec2d have = extent(object), want = extent(whole);
        if (have[0] < 0.5 * want[0] || have[1] < 0.5 * want[1])
            return refuse(photo,
                          "the card's fiducials were found on one side only (" + std::to_string(found) +
                              " of " + std::to_string(expected) + ")",
                          "uncover the card, take it in whole and keep glare off it");
    }

    Result<CardPose> pose = solve_pose(photo, object, image);
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
    if (pose->px_per_mm < fewest_px_per_mm)
        return refuse(photo,
                      "the card is too small in the picture (" +
                          std::to_string(pose->px_per_mm).substr(0, 3) + " px/mm)",
                      "come nearer until the card fills the picture");
    return pose;
}

}  // namespace bindhue::capture

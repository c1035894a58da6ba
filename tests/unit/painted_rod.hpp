// A photo of a rod in the opening, seen from straight above, for tests of how it is found.
#pragma once

#include <cmath>
#include <functional>
#include <vector>

#include <opencv2/core.hpp>

#include "plain_fit.hpp"
#include "wrap/rod.hpp"
#include "wrap/segments.hpp"

namespace painted_rod {

using namespace bindhue;
using namespace bindhue::capture;

constexpr double px_per_mm = 9, lens_x = 80, lens_y = 48, lens_mm = 300;
constexpr CardRect opening{20, 38, 120, 34};

inline CardPose from_above() {
    CardPose pose;
    const double focal = px_per_mm * lens_mm;
    pose.camera = {focal, 0, lens_x * px_per_mm, 0, focal, lens_y * px_per_mm, 0, 0, 1};
    pose.rotation = cv::Matx33d::eye();
    pose.translation = {-lens_x, -lens_y, lens_mm};
    pose.px_per_mm = px_per_mm;
    return pose;
}

inline CardLayout layout() {
    CardLayout out;
    out.width_mm = 160, out.height_mm = 110;
    out.opening = opening;
    return out;
}

// A matt rod over a grey bench, lit from straight above, its blank's top line level with the card. A pixel shows the rod where the ray to it comes nearer to the axis than the
// radius there; `off` is how near, of the radius, from -1 at the edge with smaller y to +1 at the other.
constexpr double axis_y = 56, blank_radius = 4.2;
inline const std::vector<Segment> wraps{{15, 45}, {70, 95}}, bare{{0, 15}, {45, 70}, {95, 120}};
struct Scene {
    std::vector<Segment> wound = wraps;                                       // red where they begin in the left half, yellow in the right
    double stands_out = 0;                                                    // the wraps, mm of radius
    std::function<double(double off)> mirrored = [](double) { return 0.0; };  // a share of white
    // Of the bench, beside which the blank may be hard to see; beyond: from the rod's edge with larger y, mm.
    std::function<double(double s, double beyond_mm)> bench = [](double, double) { return 0.25; };
};
inline Photo photo_of(const Scene& scene) {
    cv::Mat linear(110 * static_cast<int>(px_per_mm), 160 * static_cast<int>(px_per_mm), CV_32FC3, cv::Scalar(0.8, 0.8, 0.8));
    for (int r = 0; r < linear.rows; ++r)
        for (int c = 0; c < linear.cols; ++c) {
            const double x = c / px_per_mm, y = r / px_per_mm, s = x - opening.x_mm;
            if (s < 0 || s > opening.width_mm || y < opening.y_mm || y > opening.bottom_mm()) continue;
            double radius = blank_radius;
            cv::Vec3d body(0.05, 0.06, 0.10);  // blue first
            for (const Segment& w : scene.wound)
                if (s >= w.begin_mm && s < w.end_mm) {
                    radius += scene.stands_out;
                    body = w.begin_mm < 50 ? cv::Vec3d(0.08, 0.10, 0.42) : cv::Vec3d(0.50, 0.55, 0.20);
                }
            const double across = axis_y - lens_y, above = lens_mm + blank_radius, ray = std::hypot(y - lens_y, lens_mm);
            const double off = (above * (y - lens_y) - across * lens_mm) / ray / radius;
            const cv::Vec3d seen = std::abs(off) < 1 ? body * (0.15 + 0.85 * std::sqrt(1 - off * off)) + cv::Vec3d::all(scene.mirrored(off)) : cv::Vec3d::all(scene.bench(s, (off - 1) * radius));
            linear.at<cv::Vec3f>(r, c) = cv::Vec3f(seen);
        }
    Photo photo;
    linear.convertTo(photo.bgr, CV_16UC3, 65535);
    photo.linear = true;
    return photo;
}

inline OpeningImage opening_of(const Photo& photo) { return *flatten_opening(photo, layout(), from_above(), plain_fit()); }

}  // namespace painted_rod

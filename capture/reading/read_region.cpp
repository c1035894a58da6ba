#include "reading/read_region.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "reading/band_colour.hpp"
#include "wrap/rod.hpp"

namespace bindhue::capture {
namespace {

// Of a region given by hand. What an even, matte surface in the card's plane may be shaded otherwise than the card, and what a coat
// mirrors of a room everywhere (4 % of it, Fresnel, n = 1.5; a room's walls are about a quarter of white). Guesses.
constexpr double lone_shading_error = 0.05, room_mirror_error = 0.01;

// Sum of a response's shares of white: how light it is, whatever the light's colour.
double lightness_of(const Vector3& v, const Vector3& white) {
    return v[0] / white[0] + v[1] / white[1] + v[2] / white[2];
}

// What a rod tells of a region that lies on it.
struct Roundness {
    double shading = 1,
           shading_error = 0;  // of the surface there, relative to one that faces as the card does
    Vector3 darkest{};         // response at the same place along the rod, where the coat mirrors least
};

std::optional<Roundness> roundness_of(const Photo& photo, const CardLayout& layout, const CardPose& pose,
                                      const CameraFit& fit, const PixelRegion& region, const Vector3& white) {
    if (!layout.opening) return std::nullopt;
    const cv::Point2d aim(region.x_px + region.width_px / 2, region.y_px + region.height_px / 2);
    const CardPoint under = pose.place_under(aim, layout.outline().centre());
    if (!layout.opening->contains({under.x_mm, under.y_mm, 0, 0})) return std::nullopt;
    const Result<Rod> rod = find_rod(*flatten_opening(photo, layout, pose, fit), pose);
    if (!rod) return std::nullopt;

    constexpr double degree = CV_PI / 180;
    double s = 0, theta = 0, nearest = std::numeric_limits<double>::infinity();
    for (double at = -80 * degree; at <= 80 * degree; at += degree) {
        double along = std::clamp(under.x_mm - rod->opening_x_mm, rod->s_begin, rod->s_end);
        cv::Point2d here = pose.project(rod->surface(along, at));
        for (int round = 0; round < 3; ++round) {
            const cv::Point2d step = pose.project(rod->surface(along + 0.1, at)) - here;
            along += 0.1 * (aim - here).dot(step) / std::max(step.dot(step), 1e-12);
            here = pose.project(rod->surface(along, at));
        }
        if (const double off = cv::norm(aim - here); off < nearest) {
            nearest = off;
            s = along;
            theta = at;
        }
    }
    if (nearest > 0.1 * rod->radius_at(s) * pose.px_per_mm || s < rod->s_begin || s > rod->s_end)
        return std::nullopt;

    Roundness out;
    // Two lights at +-45 degrees shade as the cosine; one alone adds a slope of up to 1. The deviations are those of the shading's prior in
    // wrap/body.cpp.
    out.shading = 1 - 0.5 * theta * theta;
    out.shading_error = std::hypot(0.7 * theta, 0.4 * theta * theta);
    // The coat mirrors least where it mirrors the camera's own side.
    const double facing = rod->facing_camera(s, pose),
                 reach = std::max(0.5, 0.5 * std::min(region.width_px, region.height_px) / pose.px_per_mm);
    double least = std::numeric_limits<double>::infinity();
    for (double round = -16 * degree; round <= 16 * degree; round += 2 * degree) {
        Vector3 sum{};
        constexpr int places = 9;
        for (int i = 0; i < places; ++i) {
            const double along = s + reach * (2.0 * i / (places - 1) - 1);
            const Vector3 v = fit.undo(response_at(photo, pose.project(rod->surface(along, facing + round))),
                                       rod->top(along));
            for (std::size_t k = 0; k < 3; ++k) sum[k] += v[k] / places;
        }
        if (const double light = lightness_of(sum, white); light < least) {  // never where it is not finite
            least = light;
            out.darkest = sum;
        }
    }
    return std::isfinite(least) ? std::optional(out) : std::nullopt;
}

}  // namespace

Result<BandReading> read_region(const Photo& photo, const ReadOptions& options, const CardPose& pose,
                                const CameraFit& fit) {
    const PixelRegion& q = *options.region;
    const double right = q.x_px + q.width_px, bottom = q.y_px + q.height_px;
    if (!(q.width_px >= 2 && q.height_px >= 2 && q.x_px >= 0 && q.y_px >= 0 && right <= photo.bgr.cols - 1 &&
          bottom <= photo.bgr.rows - 1))
        return Error{Reason::bad_value,
                     "the region does not lie in the picture, which is " + std::to_string(photo.bgr.cols) +
                         " x " + std::to_string(photo.bgr.rows) + " pixels",
                     "--region", "give x,y,width,height in pixels of the upright picture"};
    const CardPoint place =
        pose.place_under({q.x_px + q.width_px / 2, q.y_px + q.height_px / 2}, options.layout.outline().centre());
    const Vector3 white = fit.response_to(XYZ<D50>::white()).vector();
    // Of the whole region, and of a grid of cells, which even out noise and thread but show a streak.
    constexpr int cells = 4;
    std::array<Vector3, cells * cells> cell_sum{};
    std::array<double, cells * cells> cell_count{};
    Vector3 sum{}, squares{};
    double n = 0;
    const double step = std::max(1.0, std::sqrt(q.width_px * q.height_px / 40000.0));
    for (double y = q.y_px; y < bottom; y += step)
        for (double x = q.x_px; x < right; x += step) {
            const Vector3 v = fit.undo(response_at(photo, {x, y}), place);
            const int column = static_cast<int>(cells * (x - q.x_px) / q.width_px),
                      row = static_cast<int>(cells * (y - q.y_px) / q.height_px);
            const auto cell =
                static_cast<std::size_t>(std::min(row, cells - 1) * cells + std::min(column, cells - 1));
            for (std::size_t k = 0; k < 3; ++k) {
                cell_sum[cell][k] += v[k];
                sum[k] += v[k];
                squares[k] += v[k] * v[k];
            }
            cell_count[cell] += 1;
            n += 1;
        }
    Vector3 mean;
    ResponseParts covariance;
    for (std::size_t k = 0; k < 3; ++k) {
        mean[k] = sum[k] / n;
        covariance.pixels(k, k) = std::max(0.0, squares[k] / n - mean[k] * mean[k]) * std::min(1.0, 9.0 / n);
    }

    // A coat mirrors light and never takes any away: the thread may be as dark as the region's darkest cell, or as the darkest place
    // beside the region round the rod. The mean has all of the mirrored light in it and the dark place little, so most of the way is
    // gone; the interval reaches both ends (shares that a guess gave, and random regions of the sample photos bore out).
    constexpr double way = 0.75, way_error = 0.5;
    Vector3 dark = mean;
    for (std::size_t i = 0; i < cell_sum.size(); ++i) {
        if (!(cell_count[i] > 0)) continue;
        for (double& v : cell_sum[i]) v /= cell_count[i];
        if (lightness_of(cell_sum[i], white) < lightness_of(dark, white)) dark = cell_sum[i];
    }
    double relative_error = lone_shading_error;
    const std::optional<Roundness> round = roundness_of(photo, options.layout, pose, fit, q, white);
    if (round) {
        for (std::size_t k = 0; k < 3; ++k) mean[k] /= round->shading, dark[k] /= round->shading;
        if (lightness_of(round->darkest, white) < lightness_of(dark, white)) dark = round->darkest;
        // The error of one over the shading: far more when it may be small.
        relative_error = std::hypot(
            relative_error, round->shading_error / std::max(0.2, round->shading - round->shading_error));
    }
    Vector3 mirrored;
    for (std::size_t k = 0; k < 3; ++k) {
        mirrored[k] = way_error * (mean[k] - dark[k]);
        mean[k] -= way * (mean[k] - dark[k]);
    }
    covariance.shading = (relative_error * relative_error) * outer(mean);
    covariance.mirrored = outer(mirrored) + (room_mirror_error * room_mirror_error) * outer(white);
    BandReading out;
    set_colour(out, photo, fit, CameraRgb::from(mean), covariance, {});
    warn_of_its_colour(out, fit, CameraRgb::from(mean), {});
    out.warnings.push_back(
        round ? "region given by hand: mirrored light and shading are guessed, not taken out"
              : "region given by hand, off the rod: read as flat, mirrored light not taken out");
    out.outline = {{q.x_px, q.y_px}, {right, q.y_px}, {right, bottom}, {q.x_px, bottom}};
    return out;
}

}  // namespace bindhue::capture

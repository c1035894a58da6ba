#include "reading/reading.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "card/pose.hpp"
#include "card/sharpness.hpp"
#include "card/view.hpp"
#include "colour/difference.hpp"
#include "photo/container.hpp"
#include "photo/photo.hpp"
#include "shop/camera_light_file.hpp"
#include "wrap/body.hpp"
#include "wrap/rod.hpp"
#include "wrap/segments.hpp"

namespace bindhue::capture {
namespace {

// A phone's sharpening, chroma subsampling and local curves reach bands on a rod more than flat patches; how much was found on rendered
// phone photos (seeds 505000 to 535011, see tests/accuracy), as a factor on the variance.
constexpr double encoded_variance = 1.25;

// Prints of one ink that read further apart than this, relative, were not treated alike (CameraFit::prints_disagree): phones that work on
// all places alike reached 0.014 on rendered photos, those that even out bright and dark had 0.03 at least (seeds 530000 to 530019).
// How much further off a rod may then be, which lies over the dark opening: chosen so that the regions held on those.
constexpr double prints_alike = 0.02, local_tone_reach = 3.5;

// Of a region given by hand. What an even, matte surface in the card's plane may be shaded otherwise than the card, and what a coat
// mirrors of a room everywhere (4 % of it, Fresnel, n = 1.5; a room's walls are about a quarter of white). Guesses.
constexpr double lone_shading_error = 0.05, room_mirror_error = 0.01;

// Check patches say how well the card's values describe this print in this light. Above these the reading
// would be a guess.
constexpr double worst_check_median = 4.0, worst_check_median_nominal = 8.0;

// Where no fiducial tells: a soft photo's, from rendered ones.
constexpr double usual_blur_px = 1.7;

Error refuse(const std::string& photo, std::string what, std::string mend) {
    return {Reason::cannot_measure, std::move(what), photo, std::move(mend)};
}

PixelPoint pixel(const cv::Point2d& p) { return {p.x, p.y}; }

CardReport report(const CardLayout& layout, const CardView& view, const CameraFit& fit) {
    CardReport out;
    out.layout = layout.name;
    out.trust = layout.trust;
    out.check_median = fit.check_median;
    out.check_max = fit.check_max;
    out.held_out_median = fit.held_out_median;
    out.held_out_p95 = fit.held_out_p95;
    out.colour_model = name(fit.model);
    out.light = fit.light;
    out.prints_disagree = fit.prints_disagree;
    const Vector3 white = fit.response_to(XYZ<D50>::white()).vector();
    for (std::size_t k = 0; k < 3; ++k) out.veil[k] = fit.flare[k] / white[k];
    out.px_per_mm = view.pose.px_per_mm;
    out.tilt_deg = view.pose.tilt_deg;
    out.dropped = view.notes;
    for (const PatchResult& p : fit.patches)
        if (!p.dropped.empty()) out.dropped.push_back("patch " + p.id + ": " + p.dropped);
    const auto corners = [&](const CardRect& r) {
        std::vector<PixelPoint> seen;
        for (const CardSpace corner : {CardSpace{r.x_mm, r.y_mm, 0}, CardSpace{r.right_mm(), r.y_mm, 0},
                                       CardSpace{r.right_mm(), r.bottom_mm(), 0}, CardSpace{r.x_mm, r.bottom_mm(), 0}})
            seen.push_back(pixel(view.pose.project(corner)));
        return seen;
    };
    out.outline = corners(layout.outline());
    if (layout.opening) out.opening = corners(*layout.opening);
    return out;
}

void warn_of_clipping(const CameraFit& fit, const CameraRgb& linear, std::vector<std::string>& warnings) {
    const std::array<bool, 3> at_end = fit.at_end_of_scale(linear);
    if (at_end[0] || at_end[1] || at_end[2])
        warnings.push_back("a channel is clipped: the colour may be more vivid than this photo can show");
}

// Relative error of a band's light where a phone has not treated all places alike; 0 where it has.
double local_tone(const CameraFit& fit) {
    return fit.prints_disagree > prints_alike ? local_tone_reach * fit.prints_disagree : 0.0;
}

// The colour of a response, with what pixels of an encoded file add to its uncertainty.
void set_colour(BandReading& band, const Photo& photo, const CameraFit& fit, const CameraRgb& linear,
                const ResponseParts& covariance) {
    const double widened = photo.linear ? 1.0 : encoded_variance;
    Matrix3 tone;
    if (const double off = local_tone(fit); off > 0) {
        const Vector3 v = linear.vector();
        for (std::size_t a = 0; a < 3; ++a)
            for (std::size_t b = 0; b < 3; ++b) tone(a, b) = off * off * v[a] * v[b];
    }
    band.colour = fit.read(linear, covariance.sum() + tone);
    band.colour.covariance = widened * band.colour.covariance;
    band.colour.shared = widened * band.colour.shared;
    const CovarianceParts rest = fit.covariance_parts(linear, {});
    const auto of = [&](const Matrix3& part) {
        return widened * (fit.covariance_parts(linear, part).response + -1.0 * rest.response);
    };
    band.covariance_of = {of(covariance.pixels), of(covariance.shading), of(covariance.mirrored),
                          widened * rest.response, widened * rest.fit, widened * rest.card, widened * rest.field, of(tone)};
}

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
    const Result<Rod> rod = find_rod(photo, layout, pose, fit);
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
    for (std::size_t i = 0; i < 3; ++i)
        for (std::size_t j = 0; j < 3; ++j) {
            covariance.shading(i, j) = relative_error * relative_error * mean[i] * mean[j];
            covariance.mirrored(i, j) =
                mirrored[i] * mirrored[j] + room_mirror_error * room_mirror_error * white[i] * white[j];
        }
    BandReading out;
    set_colour(out, photo, fit, CameraRgb::from(mean), covariance);
    warn_of_clipping(fit, CameraRgb::from(mean), out.warnings);
    out.warnings.push_back(
        round ? "region given by hand: mirrored light and shading are guessed, not taken out"
              : "region given by hand, off the rod: read as flat, mirrored light not taken out");
    out.outline = {{q.x_px, q.y_px}, {right, q.y_px}, {right, bottom}, {q.x_px, bottom}};
    return out;
}

std::vector<PixelPoint> outline(const CardPose& pose, const Rod& rod, const Segment& s) {
    constexpr double limb = 1.45;  // radians: nearly the edge as seen
    std::vector<PixelPoint> out;
    for (const auto& [at, theta] :
         {std::pair{s.begin_mm, -limb}, {s.end_mm, -limb}, {s.end_mm, limb}, {s.begin_mm, limb}})
        out.push_back(pixel(pose.project(rod.surface(at, theta))));
    return out;
}

std::vector<Lab<D50>> labs_of(const std::vector<BodyColour>& bodies, const CameraFit& fit) {
    std::vector<Lab<D50>> out;
    for (const BodyColour& body : bodies) out.push_back(to_lab(fit.to_xyz(body.linear)));
    return out;
}

// How far a response is from the nearest mixture of two others, as a share of the way from the first to the second.
double off_mixture(const CameraRgb& response, const CameraRgb& one, const CameraRgb& other) {
    const Vector3 v = response.vector(), a = one.vector(), b = other.vector();
    double along = 0, length = 0;
    for (std::size_t k = 0; k < 3; ++k) {
        along += (v[k] - a[k]) * (b[k] - a[k]);
        length += (b[k] - a[k]) * (b[k] - a[k]);
    }
    if (!(length > 0)) return 1.0;
    const double t = std::clamp(along / length, 0.0, 1.0);
    double left = 0;
    for (std::size_t k = 0; k < 3; ++k) left += std::pow(v[k] - a[k] - t * (b[k] - a[k]), 2);
    return std::sqrt(left / length);
}

// Is a run's response that of another with light of the lights' colours added, as a coat's rounded shoulder mirrors it? Shading may scale
// it by a fifth; what is added is at most 4 % (Fresnel, n = 1.5) of something a little brighter than white. A grey could be any other grey with
// light added, so it is not told. The limits are tuned on rendered photos, where no neighbours lie closer than 8 in CIELAB.
bool mirrors_over(const CameraRgb& response, const CameraRgb& under, const Vector3& white) {
    constexpr double most_scaled = 0.2, most_added = 0.045, least_spread = 0.1, like = 0.03;
    Vector3 u = response.vector(), w = under.vector();
    double mean_u = 0, mean_w = 0, size = 0;
    for (std::size_t k = 0; k < 3; ++k) {
        u[k] /= white[k];
        w[k] /= white[k];
        mean_u += u[k] / 3;
        mean_w += w[k] / 3;
        size += w[k] * w[k];
    }
    double both = 0, spread = 0;
    for (std::size_t k = 0; k < 3; ++k) {
        both += (w[k] - mean_w) * (u[k] - mean_u);
        spread += (w[k] - mean_w) * (w[k] - mean_w);
    }
    if (!(spread / 3 > least_spread * least_spread * size)) return false;
    const double scale = std::clamp(both / spread, 1 - most_scaled, 1 + most_scaled),
                 added = mean_u - scale * mean_w;
    double left = 0;
    for (std::size_t k = 0; k < 3; ++k) left += std::pow(u[k] - scale * w[k] - added, 2);
    return added >= 0 && added <= most_added && left < like * like * size;
}

// How far two neighbours differ by what changes at all angles round the rod alike, CIELAB distance.
double step_seen(const BodyColour& before, const BodyColour& after, const CameraFit& fit) {
    Vector3 forward = before.linear.vector(), back = after.linear.vector();
    for (std::size_t k = 0; k < 3; ++k) {
        forward[k] += after.step[k];
        back[k] -= after.step[k];
    }
    const auto lab = [&](const Vector3& v) { return to_lab(fit.to_xyz(CameraRgb::from(v))); };
    return std::min(cie1976(lab(before.linear.vector()), lab(forward)),
                    cie1976(lab(after.linear.vector()), lab(back)));
}

// Takes one false edge away, if there is any: a streak that comes or goes along a band; gaps between turns, which show the blank
// (the rod's ends are taken for it); what blur leaves between two bands. The body colours on both sides tell them from bands.
bool join_one(std::vector<Segment>& segments, const std::vector<BodyColour>& bodies, const CameraFit& fit) {
    constexpr double widest_gap_mm = 2.2, widest_blur_mm = 0.9, like = 0.2;
    const std::vector<Lab<D50>> labs = labs_of(bodies, fit);
    const Vector3 white = fit.response_to(XYZ<D50>::white()).vector();
    const auto remove = [&](std::size_t i) {
        segments.erase(segments.begin() + static_cast<std::ptrdiff_t>(i));
    };

    std::size_t nearest = 0;
    double least = least_step;
    for (std::size_t i = 1; i < segments.size(); ++i)
        if (const double d =
                std::min(cie1976(labs[i], labs[i - 1]), step_seen(bodies[i - 1], bodies[i], fit));
            d < least) {
            least = d;
            nearest = i;
        }
    // The coat's rounded shoulder at a wrap's end is shaded unlike the rest, and mirrors something else.
    if (nearest == 0)
        for (std::size_t i = 1; i < segments.size(); ++i) {
            const double shorter = std::min(segments[i].length_mm(), segments[i - 1].length_mm());
            const double longer = std::max(segments[i].length_mm(), segments[i - 1].length_mm());
            const bool first = segments[i - 1].length_mm() < segments[i].length_mm();
            const CameraRgb &run = bodies[first ? i - 1 : i].linear,
                            &beside = bodies[first ? i : i - 1].linear;
            if (shorter < widest_gap_mm && longer > 3 * shorter &&
                (cie1976(labs[i], labs[i - 1]) < 2 * least_step || mirrors_over(run, beside, white)))
                nearest = i;
        }
    if (nearest != 0) {
        segments[nearest - 1].end_mm = segments[nearest].end_mm;
        remove(nearest);
        return true;
    }
    for (std::size_t i = 1; i + 1 < segments.size(); ++i) {
        const double length = segments[i].length_mm(), across = cie1976(labs[i - 1], labs[i + 1]);
        const CameraRgb &before = bodies[i - 1].linear, &here = bodies[i].linear,
                        &after = bodies[i + 1].linear;
        const bool shows_blank = off_mixture(here, before, bodies.front().linear) < like ||
                                 off_mixture(here, before, bodies.back().linear) < like;
        if (length < widest_gap_mm && across < 2 * least_step && i > 1 && i + 2 < segments.size() &&
            shows_blank) {
            segments[i - 1].end_mm = segments[i + 1].end_mm;
            remove(i + 1);
            remove(i);
            return true;
        }
        if (length < widest_blur_mm && across > 2 * least_step && off_mixture(here, before, after) < like) {
            segments[i - 1].end_mm = segments[i + 1].begin_mm = segments[i].begin_mm + length / 2;
            remove(i);
            return true;
        }
    }
    return false;
}

// Bare blank beside bare blank is one run: what divided them is the coat's rounded end or a streak.
bool join_bare(std::vector<Segment>& segments, const std::vector<BandFeatures>& features) {
    std::vector<Segment> joined;
    for (std::size_t i = 0; i < segments.size(); ++i) {
        if (i > 0 && features[i].role == BandRole::blank && features[i - 1].role == BandRole::blank) {
            joined.back().end_mm = segments[i].end_mm;
        } else {
            joined.push_back(segments[i]);
        }
    }
    const bool changed = joined.size() != segments.size();
    segments = std::move(joined);
    return changed;
}

Result<std::vector<Segment>> segments_between(const std::vector<double>& edges_mm, const Rod& rod) {
    std::vector<Segment> out;
    double begin = rod.s_begin;
    for (std::size_t i = 0; i <= edges_mm.size(); ++i) {
        const double end = i < edges_mm.size() ? edges_mm[i] : rod.s_end;
        if (!(end >= begin + shortest_given_band_mm))
            return Error{Reason::bad_value,
                         "the edges of the bands do not ascend by at least " + std::to_string(shortest_given_band_mm).substr(0, 3) +
                             " mm each between " + std::to_string(rod.s_begin).substr(0, 4) + " and " + std::to_string(rod.s_end).substr(0, 5) +
                             " mm, which the opening shows",
                         "--edges", "give the places where bands meet, from left to right, in millimetres from the opening's left edge"};
        out.push_back({begin, end});
        begin = end;
    }
    return out;
}

Status read_rod(const Photo& photo, const ReadOptions& options, const CardPose& pose, const CameraFit& fit,
                WrapReading& out) {
    const Result<Rod> rod = find_rod(photo, options.layout, pose, fit);
    if (!rod) return rod.error();
    const double middle = (rod->s_begin + rod->s_end) / 2;
    const double facing = rod->facing_camera(middle, pose);
    const CameraShade camera =
        camera_shade(*rod, pose, blur_of_edges(photo, options.layout, pose, fit).value_or(usual_blur_px));
    const Skin skin = unroll(photo, pose, fit, *rod);
    std::vector<Segment> segments;
    if (options.edges_mm) {
        Result<std::vector<Segment>> given = segments_between(*options.edges_mm, *rod);
        if (!given) return given.error();
        segments = std::move(*given);
    } else {
        segments = find_segments(skin, fit, facing);
    }
    if (segments.empty())
        return refuse(photo.source, "no band could be told on the rod",
                      "lay the wrap in the middle of the opening, in focus");
    std::vector<BodyColour> bodies = body_colours(skin, segments, fit, facing, camera);
    while (!options.edges_mm && join_one(segments, bodies, fit)) bodies = body_colours(skin, segments, fit, facing, camera);
    for (const BodyColour& body : bodies)
        if (!std::isfinite(body.linear.r + body.linear.g + body.linear.b))
            return refuse(photo.source, "part of the rod in the opening is out of the picture",
                          "take in the whole card");

    std::vector<BandFeatures> features =
        name_bands(skin, segments, labs_of(bodies, fit), facing, pose.px_per_mm);
    if (!options.edges_mm && join_bare(segments, features)) {
        bodies = body_colours(skin, segments, fit, facing, camera);
        features = name_bands(skin, segments, labs_of(bodies, fit), facing, pose.px_per_mm);
    }
    std::vector<std::size_t> bare;
    for (std::size_t i = 0; i < features.size(); ++i)
        if (features[i].role == BandRole::blank) bare.push_back(i);
    if (bare.size() > 1) bodies = body_colours(skin, segments, fit, facing, camera, bare);
    for (std::size_t i = 0; i < segments.size(); ++i) {
        BandReading band;
        band.start_mm = segments[i].begin_mm;
        band.length_mm = segments[i].length_mm();
        band.role = features[i].role;
        set_colour(band, photo, fit, bodies[i].linear, bodies[i].covariance);
        band.pitch_mm = features[i].pitch_mm;
        band.warnings = bodies[i].warnings;
        warn_of_clipping(fit, bodies[i].linear, band.warnings);
        if (band.role != BandRole::blank && !band.pitch_mm)
            band.warnings.push_back("thread pitch not resolved in this picture");
        band.outline = outline(pose, *rod, segments[i]);
        out.bands.push_back(std::move(band));
    }
    out.blank_diameter_mm = 2 * rod->radius_at(middle);
    if (const double strip = rod->strip_px(middle, pose); strip < fair_strip_px)
        out.warnings.push_back("the rod is thin in the picture (its clean strip is " +
                               std::to_string(static_cast<int>(strip)) + " pixels wide): come nearer, to " +
                               std::to_string(static_cast<int>(std::ceil(pose.px_per_mm * fair_strip_px / strip))) +
                               " px/mm, for a surer colour");
    return ok();
}

}  // namespace

std::string_view name(BandRole role) {
    switch (role) {
        case BandRole::wrap:
            return "wrap";
        case BandRole::trim:
            return "trim";
        case BandRole::blank:
            return "blank";
    }
    return "";
}

std::string_view name(ReadStep step) {
    switch (step) {
        case ReadStep::decoding:
            return "decoding the photo";
        case ReadStep::finding_card:
            return "finding the card";
        case ReadStep::fitting_colours:
            return "fitting the camera's colours to the card";
        case ReadStep::reading_rod:
            return "reading the rod";
    }
    return "";
}

std::optional<Reading> WrapReading::blank() const {
    std::optional<Reading> out;
    double longest = 0;
    for (const BandReading& band : bands)
        if (band.role == BandRole::blank && band.length_mm > longest) {
            longest = band.length_mm;
            out = band.colour;
        }
    return out;
}

namespace {

void begin(const ReadOptions& options, ReadStep step) {
    if (options.on_step) options.on_step(step);
}

Result<WrapReading> read(const Result<Photo>& photo, const ReadOptions& options) {
    if (!photo) return photo.error();
    begin(options, ReadStep::finding_card);
    std::optional<CardCorners> corners;
    if (options.corners) {
        corners.emplace();
        for (std::size_t i = 0; i < 4; ++i)
            (*corners)[i] = {(*options.corners)[i].x_px, (*options.corners)[i].y_px};
    }
    const Result<CardPose> pose = find_card(*photo, options.layout, corners);
    if (!pose) return pose.error();
    const Result<CardView> view = sample_card(*photo, options.layout, *pose);
    if (!view) return view.error();

    begin(options, ReadStep::fitting_colours);
    FitOptions fit_options;
    fit_options.linear = photo->linear;
    fit_options.trust = options.layout.trust;
    fit_options.prior = &built_in_camera_light();
    fit_options.context = {photo->camera.empty() ? options.camera : photo->camera, options.layout.name, options.light};
    const Result<CameraFit> fit = fit_camera(view->patches, fit_options);
    if (!fit) {
        Error error = fit.error();
        error.where = error.where.empty() ? photo->source : photo->source + ", " + error.where;
        return error;
    }

    WrapReading out;
    out.photo = photo->source;
    out.card = report(options.layout, *view, *fit);
    const double worst =
        options.layout.trust == Trust::nominal ? worst_check_median_nominal : worst_check_median;
    if (out.card.check_median > worst)
        return refuse(
            photo->source,
            "the card's check patches are read " + std::to_string(out.card.check_median).substr(0, 4) +
                " CIEDE2000 wrong (median): this reading could not be trusted",
            "check that the layout belongs to this card, keep shadows and glare off it, and use one light");
    if (options.layout.trust == Trust::nominal)
        out.warnings.push_back(
            "the card's values are nominal: good for comparing readings made with this one card, not as "
            "absolute colours");
    if (out.card.light && out.card.light->grade == LightGrade::poor)
        out.warnings.push_back("this light (like " + out.card.light->name +
                               ") shows colours poorly: read by daylight or a better lamp, or add a photo under another light");
    if (local_tone(*fit) > 0)
        out.warnings.push_back("prints of one ink read unlike on the two sides of the card (" +
                               std::to_string(std::lround(100 * fit->prints_disagree)) +
                               " % of their light): a shadow, or a phone that evens out bright and dark. Regions are "
                               "wider for it; switch such help off (HDR, scene modes), or keep a raw file");
    if (view->clipped_white_share > 0)
        out.warnings.push_back("some of the card's white is blown out: expose less");

    begin(options, ReadStep::reading_rod);
    if (options.region) {
        Result<BandReading> region = read_region(*photo, options, *pose, *fit);
        if (!region) return region.error();
        out.bands.push_back(std::move(*region));
    } else if (const Status status = read_rod(*photo, options, *pose, *fit, out); !status) {
        return status.error();
    }
    if (photo->bgr.depth() == CV_8U) {
        out.picture = photo->bgr;
    } else {
        photo->bgr.convertTo(out.picture, CV_8U, 255.0 / photo->full_scale());
    }
    return out;
}

}  // namespace

Result<WrapReading> read_photo(const std::filesystem::path& path, const ReadOptions& options) {
    begin(options, ReadStep::decoding);
    return read(load_photo(path, {options.linear}), options);
}

Result<WrapReading> read_photo(std::span<const std::uint8_t> bytes, const std::string& source,
                               const ReadOptions& options) {
    begin(options, ReadStep::decoding);
    return read(decode_photo(bytes, source, {options.linear}), options);
}

std::string_view usual_ending(std::span<const std::uint8_t> bytes) {
    const Result<Container> file = read_container(bytes, "");
    if (!file) return "";
    switch (file->format) {
        case ImageFormat::jpeg:
            return ".jpg";
        case ImageFormat::png:
            return ".png";
        case ImageFormat::tiff:
            return ".tif";
        case ImageFormat::heif:
            return ".heic";
        case ImageFormat::raw:
            return ".raw";
    }
    return "";
}

}  // namespace bindhue::capture

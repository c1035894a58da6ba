#include "reading/read_rod.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <map>

#include "card/sharpness.hpp"
#include "colour/coat_check.hpp"
#include "colour/difference.hpp"
#include "reading/band_colour.hpp"
#include "wrap/bands.hpp"
#include "wrap/body.hpp"
#include "wrap/evenness.hpp"
#include "wrap/false_edges.hpp"
#include "wrap/guide.hpp"
#include "wrap/outline.hpp"
#include "wrap/rod.hpp"
#include "wrap/segments.hpp"
#include "wrap/strands.hpp"

namespace bindhue::capture {
namespace {

// Where no fiducial tells: a soft photo's, from rendered ones.
constexpr double usual_blur_px = 1.7;
// An edge of the rod that is so much softer than the picture's blur makes it is no edge of it but a shadow's, or its own shade's, as likely as not. Chosen on rendered photos (seeds 1700000, 1710000, 3000000 and 3090000 on):
// of 120 rods 13 were found with an end of the axis off by over 0.15 of the radius, or the radius by as much. Where so, the light on it is known to about that (a guess).
constexpr double soft_edge = 0.51, soft_edge_doubt = 0.1;

Error refuse(const std::string& photo, std::string what, std::string mend) {
    return {Reason::cannot_measure, std::move(what), photo, std::move(mend)};
}

PixelPoint pixel(const cv::Point2d& p) { return {p.x, p.y}; }

std::vector<PixelPoint> outline(const CardPose& pose, const Rod& rod, const Segment& s) {
    constexpr double limb = 1.45;  // radians: nearly the edge as seen
    std::vector<PixelPoint> out;
    for (const auto& [at, theta] :
         {std::pair{s.begin_mm, -limb}, {s.end_mm, -limb}, {s.end_mm, limb}, {s.begin_mm, limb}})
        out.push_back(pixel(pose.project(rod.surface(at, theta))));
    return out;
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

std::string in_words(const StrandReading& strand) {
    char text[80];
    const Lab<D50>& lab = strand.colour.lab;
    std::snprintf(text, sizeof text, "%.0f %% of L* %.0f a* %.0f b* %.0f", 100 * strand.share, lab.L, lab.a, lab.b);
    return text;
}

StripeSight stripe_sight(const Photo& photo, const Rod& rod, const CardPose& pose, const Vector3& white, double facing, double blur_px) {
    // A mosaic's red and blue lie two pixels apart and are interpolated by a triangle of that half width: a variance of 2^2 / 6. Compressed files mostly
    // keep differences of channels at half size (JPEG 4:2:0): means of two pixels, 2^2 / 12, interpolated in the same way. A phone sharpens the card's edges and
    // smooths what is faint: a variance tuned on rendered photos (seeds 841000 to 841011, stripes that grow finer along the rod).
    constexpr double interpolated = 4.0 / 6, averaged = 4.0 / 12, smoothed = 1.0;
    const double light = blur_px * blur_px + (photo.linear ? 0.0 : smoothed), chroma = light + interpolated + (photo.linear ? 0.0 : averaged + interpolated);
    return {white, facing, rod.radius_at((rod.s_begin + rod.s_end) / 2), std::sqrt(light) / pose.px_per_mm, std::sqrt(chroma) / pose.px_per_mm, !photo.linear};
}

// Stripes may be too fine for the picture on a part of a wrap.
constexpr double least_striped = 0.25;
const TwoColours* colours_of(const std::vector<TwoColouredWrap>& wraps, const Segment& run) {
    const TwoColours* out = nullptr;
    double most_mm = least_striped * run.length_mm();
    for (const TwoColouredWrap& w : wraps) {
        const double common_mm = std::min(w.end_mm, run.end_mm) - std::max(w.begin_mm, run.begin_mm);
        if (common_mm <= most_mm) continue;
        most_mm = common_mm;
        out = &w.colours;
    }
    return out;
}

// A two-coloured wrap's colours lie on both sides of their mean, as far off as the other's share. How much of the way between them, at most 1, so
// that both are colours of thread.
double most_apart(const CameraFit& fit, const Vector3& mean, const Vector3& apart, double share) {
    // As shares of white: no thread is darker (from memory of black thread), or reflects more than all light.
    constexpr double darkest = 0.003, lightest = 1.0;
    const auto is_thread = [&](double off) {
        Vector3 v;
        for (std::size_t k = 0; k < 3; ++k) v[k] = mean[k] + off * apart[k];
        const XYZ<D50> c = fit.to_xyz(CameraRgb::from(v));
        const Vector3 of_white{c.X / D50::X, c.Y / D50::Y, c.Z / D50::Z};
        return std::ranges::all_of(of_white, [](double x) { return x >= darkest && x <= lightest; });
    };
    double far = 1;
    for (int round = 0; round < 20 && !(is_thread(-share * far) && is_thread((1 - share) * far)); ++round) far *= 0.9;
    return far;
}

// Adds both colours with all that may be wrong with them, and a warning.
void add_strands(BandReading& band, const Photo& photo, const CameraFit& fit, const BodyColour& mean, const TwoColours& two) {
    Vector3 apart;
    for (std::size_t k = 0; k < 3; ++k) apart[k] = two.apart[k] / mean.shade[k];
    const double far = most_apart(fit, mean.linear.vector(), apart, two.share);
    const auto lab_at = [&](double off) {
        Vector3 linear = mean.linear.vector();
        for (std::size_t k = 0; k < 3; ++k) linear[k] += off * far * apart[k];
        return to_lab(fit.to_xyz(CameraRgb::from(linear)));
    };
    // Thread is sold two-coloured to be seen as such. Where the colours seem alike, turns that alternate may have hidden most of them: then only stripes of half the
    // repeat are seen, and fainter. Tuned on rendered photos (seeds 841000 to 841011): such seemed 5 to 16 apart, others 20 or more.
    constexpr double seldom_nearer = 25;
    const double seem_apart = std::max(1.0, cie1976(lab_at(-two.share), lab_at(1 - two.share))), hidden = seem_apart < seldom_nearer ? seldom_nearer / seem_apart : 0.0;
    for (const bool second : {false, true}) {
        const double off = second ? 1 - two.share : -two.share;
        Vector3 linear = mean.linear.vector();
        ResponseParts covariance = mean.covariance;
        for (std::size_t k = 0; k < 3; ++k) linear[k] += off * far * apart[k];
        for (std::size_t a = 0; a < 3; ++a)
            for (std::size_t b = 0; b < 3; ++b) covariance.pixels(a, b) += (two.share_error * two.share_error + off * off * hidden * hidden) * far * far * apart[a] * apart[b] +
                                                                               off * off * two.apart_covariance(a, b) / (mean.shade[a] * mean.shade[b]);
        set_colour(band, photo, fit, CameraRgb::from(linear), covariance, mean.taken_off);
        band.strands.push_back({band.colour, second ? two.share : 1 - two.share});
    }
    band.warnings.push_back("thread of two colours: " + in_words(band.strands[0]) + " and " + in_words(band.strands[1]) +
                            (hidden > 0 ? " (turns that alternate may hide how far they lie apart: look at it closely)" : "") +
                            "; the band's colour is their mean. Look for thread of both, not of the mean");
}

void tell_spread(BandReading& band, const std::optional<Spread>& spread) {
    if (!spread) return;
    band.spread = spread->distance;
    if (spread->distance > most_even_spread && band.role != BandRole::blank)
        band.warnings.push_back("its colour spreads by " + std::to_string(std::lround(spread->distance)) + " (CIELAB) within it, most at " + std::to_string(std::lround(spread->at_mm)) +
                                " mm: a coat that soaked in unevenly, or thread that varies; look at it, and read a clean region of it");
}

}  // namespace

Status read_rod(const Photo& photo, const ReadOptions& options, const CardPose& pose, const CameraFit& fit,
                WrapReading& out) {
    const Result<OpeningImage> opening = flatten_opening(photo, options.layout, pose, fit);
    if (!opening) return opening.error();
    const Result<Rod> rod = find_rod(*opening, pose);
    if (!rod) return rod.error();
    const double middle = (rod->s_begin + rod->s_end) / 2;
    const double facing = rod->facing_camera(middle, pose);
    const double blur_px = blur_of_edges(photo, options.layout, pose, fit).value_or(usual_blur_px);
    const CameraShade camera = camera_shade(*rod, pose, blur_px);
    const bool soft = rod->edge_share < soft_edge * share_of_blurred_edge(*opening, blur_px / pose.px_per_mm);
    if (soft)
        out.warnings.push_back("an edge of the rod is as soft as a shadow's: the rod may have been taken for thicker or thinner than it is, or the bench for it. Look at the picture that --picture draws; "
                               "lay a plain ground far below the rod that differs from the blank, or move the lamp");
    Skin skin = unroll(photo, pose, fit, *rod);
    std::vector<Segment> segments;
    if (options.edges_mm) {
        Result<std::vector<Segment>> given = segments_between(*options.edges_mm, *rod);
        if (!given) return given.error();
        segments = std::move(*given);
    } else {
        segments = find_segments(skin, fit, facing);
    }
    const StripeSight sight = stripe_sight(photo, *rod, pose, fit.response_to(XYZ<D50>::white()).vector(), facing, blur_px);
    const std::vector<TwoColouredWrap> two_coloured = take_stripes_off(skin, segments, sight, !options.edges_mm);
    if (segments.empty())
        return refuse(photo.source, "no band could be told on the rod",
                      "lay the wrap in the middle of the opening, in focus");
    std::map<std::pair<double, double>, bool> glitter;  // of runs looked at: most stay as they are while others are joined
    const auto is_metallic = [&](const Segment& run) {
        const auto [known, is_new] = glitter.try_emplace({run.begin_mm, run.end_mm});
        if (is_new) known->second = glitters(skin, run, sight.white, facing);
        return known->second;
    };
    const auto bodies_of = [&](const std::vector<std::size_t>& bare) {
        KnownSegments known{bare, {}, soft ? soft_edge_doubt : 0.0};
        for (std::size_t i = 0; i < segments.size(); ++i) {
            const bool thread = std::ranges::find(bare, i) == bare.end() && colours_of(two_coloured, segments[i]) == nullptr;
            if (thread && is_metallic(segments[i])) known.metallic.push_back(i);
        }
        return body_colours(skin, segments, fit, facing, camera, known);
    };
    std::vector<BodyColour> bodies = bodies_of({});
    while (!options.edges_mm && join_over_false_edge(segments, bodies, fit)) bodies = bodies_of({});
    for (const BodyColour& body : bodies)
        if (!std::isfinite(body.linear.r + body.linear.g + body.linear.b))
            return refuse(photo.source, "part of the rod in the opening is out of the picture",
                          "take in the whole card");

    std::vector<Texture> textures = textures_of(skin, segments, facing, pose.px_per_mm);
    const auto names = [&] { return name_bands(segments, textures, labs_of(bodies, fit)); };
    const auto bare_of = [](const std::vector<BandFeatures>& named) {
        std::vector<std::size_t> runs;
        for (std::size_t i = 0; i < named.size(); ++i)
            if (named[i].role == BandRole::blank) runs.push_back(i);
        return runs;
    };
    std::vector<BandFeatures> features = names();
    // What mirrors more than other parts of the blank is told once they have one colour.
    bodies = bodies_of(bare_of(features));
    features = names();
    if (!options.edges_mm) {
        if (join_bare_neighbours(segments, features, bodies)) {
            bodies = bodies_of({});
            textures = textures_of(skin, segments, facing, pose.px_per_mm);
            features = names();
        }
        tell_thread_from_blank(features, bodies, fit);
    }
    std::vector<Segment> whole = segments;
    if (const auto frame = options.edges_mm ? std::nullopt : find_guide(segments, bodies)) {
        out.warnings.push_back("something covers part of the rod from " + std::to_string(std::lround(segments[frame->first].begin_mm)) + " to " +
                               std::to_string(std::lround(segments[frame->end - 1].end_mm)) +
                               " mm, as a guide does (or thread of two greys): it is left out, and wraps beside it are read away from its feet. "
                               "Turn the rod so that a guide faces away");
        whole = leave_guide_out(*frame, segments, features, bodies, fit);
    }
    const std::vector<std::size_t> bare = bare_of(features);
    bodies = bodies_of(bare);

    // The outermost bands are cut off by the opening and reach its ends, as far as anybody can tell.
    whole.front().begin_mm = 0;
    whole.back().end_mm = rod->s_end + opening_border_mm;
    for (std::size_t i = 0; i < segments.size(); ++i) {
        BandReading band;
        band.start_mm = whole[i].begin_mm;
        band.length_mm = whole[i].length_mm();
        band.role = features[i].role;
        band.warnings = bodies[i].warnings;
        const TwoColours* two = features[i].role == BandRole::blank ? nullptr : colours_of(two_coloured, segments[i]);
        if (two != nullptr) add_strands(band, photo, fit, bodies[i], *two);
        if (bodies[i].looks) add_looks(band, photo, fit, bodies[i]);
        set_colour(band, photo, fit, bodies[i].linear, bodies[i].covariance, bodies[i].taken_off);
        band.pitch_mm = features[i].pitch_mm;
        if (two == nullptr) tell_spread(band, spread_within(skin, segments[i], bodies[i].linear, fit, facing));
        warn_of_its_colour(band, fit, bodies[i].linear, bodies[i].taken_off);
        if (band.role != BandRole::blank && !band.pitch_mm)
            band.warnings.push_back(pitch_not_resolved);
        band.outline = outline(pose, *rod, whole[i]);
        out.bands.push_back(std::move(band));
    }
    std::vector<Segment> blank;
    for (const std::size_t i : bare) blank.push_back(whole[i]);
    const Rod bare_outline = bare_rod(blank, *opening, pose, *rod).value_or(*rod);
    out.blank_diameter_mm = 2 * bare_outline.radius_at(middle) / seen_of_radius;
    if (const double strip = rod->strip_px(middle, pose); strip < fair_strip_px)
        out.warnings.push_back("the rod is thin in the picture (its clean strip is " +
                               std::to_string(static_cast<int>(strip)) + " pixels wide): come nearer, to " +
                               std::to_string(static_cast<int>(std::ceil(pose.px_per_mm * fair_strip_px / strip))) +
                               " px/mm, for a surer colour");
    return ok();
}

}  // namespace bindhue::capture

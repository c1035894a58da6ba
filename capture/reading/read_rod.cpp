#include "reading/read_rod.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>

#include "card/sharpness.hpp"
#include "colour/coat_check.hpp"
#include "colour/difference.hpp"
#include "reading/band_colour.hpp"
#include "wrap/bands.hpp"
#include "wrap/evenness.hpp"
#include "wrap/body.hpp"
#include "wrap/outline.hpp"
#include "wrap/rod.hpp"
#include "wrap/segments.hpp"
#include "wrap/strands.hpp"

namespace bindhue::capture {
namespace {

// Where no fiducial tells: a soft photo's, from rendered ones.
constexpr double usual_blur_px = 1.7;

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
// it, by most_scaled at most; what is added is at most 4 % (Fresnel, n = 1.5) of something a little brighter than white. A grey could be any other grey with
// light added, so it is not told. The limits are tuned on rendered photos, where no neighbours lie closer than 8 in CIELAB.
bool mirrors_over(const CameraRgb& response, const CameraRgb& under, const Vector3& white, double most_scaled) {
    constexpr double most_added = 0.045, least_spread = 0.1, like = 0.03;
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

// An edge that is not there all round the rod lies within one band: a streak's end, a patch of an uneven coat. On rendered photos (seeds 700000 to 710035 and
// 830000 to 830529) none of 909 edges between bands (drawn at least 8 apart in CIELAB) had both, and 9 of 11 within bands.
constexpr double patch_misfit = 0.12, patch_step = 9;

// Takes one false edge away, if there is any: a streak that comes or goes along a band; gaps between turns, which show the blank
// (the rod's ends are taken for it); what blur leaves between two bands. The body colours on both sides tell them from bands.
bool join_one(std::vector<Segment>& segments, const std::vector<BodyColour>& bodies, const CameraFit& fit) {
    constexpr double widest_gap_mm = 2.2, widest_blur_mm = 0.9, like = 0.2;
    // A coat ends about so far beyond its thread, and is steep there: it may see little of the light, or much more. Farther off its slope is slight.
    constexpr double widest_shoulder_mm = 1.3, steep = 0.6, slight = 0.2;
    const std::vector<Lab<D50>> labs = labs_of(bodies, fit);
    const Vector3 white = fit.response_to(XYZ<D50>::white()).vector();
    const auto remove = [&](std::size_t i) {
        segments.erase(segments.begin() + static_cast<std::ptrdiff_t>(i));
    };

    std::size_t nearest = 0;
    double least = least_step;
    for (std::size_t i = 1; i < segments.size(); ++i) {
        const double apart = cie1976(labs[i], labs[i - 1]);
        const bool within_one = bodies[i].step_misfit > patch_misfit && apart < patch_step;
        if (const double d = within_one ? 0 : std::min(apart, step_seen(bodies[i - 1], bodies[i], fit)); d < least) {
            least = d;
            nearest = i;
        }
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
                (cie1976(labs[i], labs[i - 1]) < 2 * least_step || mirrors_over(run, beside, white, shorter < widest_shoulder_mm ? steep : slight)))
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

// What stands over the rod, as a guide's frame or ring does: its ends are no steps all round the rod. Bands of rendered photos had a misfit under 0.03, or 0.11
// and an error under 0.002 where they are much alike; a guide that faces the camera 0.10 to 0.34 and 0.02 to 0.04.
constexpr double uneven_misfit = 0.09, uneven_error = 0.008, longest_frame_mm = 16;
// A foot under the thread: how far the colour may change where it begins (CIELAB distance); how much of a wrap beside a frame no foot reaches (common practice: some turns
// are wound on the bare blank first).
constexpr double over_foot = 12, beyond_foot_share = 0.3, beyond_foot_mm = 4;

// The runs from first up to end.
struct RunsOf {
    std::size_t first = 0, end = 0;
};
std::optional<RunsOf> find_frame(const std::vector<Segment>& segments, const std::vector<BodyColour>& bodies) {
    const auto uneven = [&](std::size_t i) { return bodies[i].step_misfit > uneven_misfit && bodies[i].step_error > uneven_error; };
    std::size_t first = 0, end = 0;
    for (std::size_t i = 1; i < bodies.size(); ++i)
        if (uneven(i)) (first == 0 ? first : end) = i;
    if (end == 0 || segments[end - 1].end_mm - segments[first].begin_mm > longest_frame_mm) return std::nullopt;
    return RunsOf{first, end};
}

// Takes a frame out of the runs, and from the wraps beside it what a guide's foot may lie under: `segments` are then where to read, what is returned is where
// each run lies.
std::vector<Segment> leave_out(const RunsOf& frame, std::vector<Segment>& segments, std::vector<BandFeatures>& features, const std::vector<BodyColour>& bodies,
                               const CameraFit& fit) {
    const std::vector<Lab<D50>> labs = labs_of(bodies, fit);
    const auto at = [](auto& list, std::size_t i) { return list.begin() + static_cast<std::ptrdiff_t>(i); };
    std::vector<Segment> whole = segments;
    const auto clean = [&](std::size_t wrap, bool frame_after) {
        if (features[wrap].role == BandRole::blank) return;
        Segment& read = segments[wrap];
        const double kept = std::max(beyond_foot_mm, beyond_foot_share * read.length_mm());
        if (read.length_mm() < 1.5 * kept) return;
        (frame_after ? read.end_mm : read.begin_mm) = frame_after ? read.begin_mm + kept : read.end_mm - kept;
    };
    const auto foot_of = [&](std::size_t foot, std::size_t wrap) {
        const std::size_t edge = std::max(foot, wrap);
        return features[foot].role != BandRole::blank && features[wrap].role != BandRole::blank && bodies[edge].step_misfit > uneven_misfit &&
               cie1976(labs[foot], labs[wrap]) < over_foot;
    };
    const auto drop = [&](std::size_t from, std::size_t to) {
        whole.erase(at(whole, from), at(whole, to));
        segments.erase(at(segments, from), at(segments, to));
        features.erase(at(features, from), at(features, to));
    };
    // Right side first, so that places to the left stay.
    if (frame.end < segments.size()) {
        if (frame.end + 1 < segments.size() && foot_of(frame.end, frame.end + 1)) {
            whole[frame.end + 1].begin_mm = whole[frame.end].begin_mm;
            drop(frame.end, frame.end + 1);
        } else {
            clean(frame.end, false);
        }
    }
    drop(frame.first, frame.end);
    if (frame.first >= 2 && foot_of(frame.first - 1, frame.first - 2)) {
        whole[frame.first - 2].end_mm = whole[frame.first - 1].end_mm;
        drop(frame.first - 1, frame.first);
    } else if (frame.first >= 1) {
        clean(frame.first - 1, true);
    }
    return whole;
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
    const auto bodies_of = [&](const std::vector<std::size_t>& bare) {
        KnownSegments known{bare, {}};
        for (std::size_t i = 0; i < segments.size(); ++i) {
            const bool thread = std::ranges::find(bare, i) == bare.end() && colours_of(two_coloured, segments[i]) == nullptr;
            if (thread && glitters(skin, segments[i], sight.white, facing)) known.metallic.push_back(i);
        }
        return body_colours(skin, segments, fit, facing, camera, known);
    };
    std::vector<BodyColour> bodies = bodies_of({});
    while (!options.edges_mm && join_one(segments, bodies, fit)) bodies = bodies_of({});
    for (const BodyColour& body : bodies)
        if (!std::isfinite(body.linear.r + body.linear.g + body.linear.b))
            return refuse(photo.source, "part of the rod in the opening is out of the picture",
                          "take in the whole card");

    std::vector<BandFeatures> features =
        name_bands(skin, segments, labs_of(bodies, fit), facing, pose.px_per_mm);
    if (!options.edges_mm && join_bare(segments, features)) {
        bodies = bodies_of({});
        features = name_bands(skin, segments, labs_of(bodies, fit), facing, pose.px_per_mm);
    }
    std::vector<Segment> whole = segments;
    if (const auto frame = options.edges_mm ? std::nullopt : find_frame(segments, bodies)) {
        out.warnings.push_back("something covers part of the rod from " + std::to_string(std::lround(segments[frame->first].begin_mm)) + " to " +
                               std::to_string(std::lround(segments[frame->end - 1].end_mm)) +
                               " mm, as a guide does (or thread of two greys): it is left out, and wraps beside it are read away from its feet. "
                               "Turn the rod so that a guide faces away");
        whole = leave_out(*frame, segments, features, bodies, fit);
    }
    std::vector<std::size_t> bare;
    for (std::size_t i = 0; i < features.size(); ++i)
        if (features[i].role == BandRole::blank) bare.push_back(i);
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
        warn_of_clipping(fit, bodies[i].linear, bodies[i].taken_off, band.warnings);
        if (band.role != BandRole::blank && !band.pitch_mm)
            band.warnings.push_back("thread pitch not resolved in this picture");
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

#include "wrap/false_edges.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

#include "colour/difference.hpp"
#include "wrap/added_light.hpp"

namespace bindhue::capture {
namespace {

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
// it, by most_scaled at most; what is added is at most 4 % (Fresnel, n = 1.5) of something a little brighter than white. The limits are tuned on rendered photos,
// where no neighbours lie closer than 8 in CIELAB.
bool mirrors_over(const CameraRgb& response, const CameraRgb& under, const Vector3& white, double most_scaled) {
    constexpr double most_added = 0.045, like = 0.03;
    Vector3 run = response.vector(), below = under.vector();
    for (std::size_t k = 0; k < 3; ++k) {
        run[k] /= white[k];
        below[k] /= white[k];
    }
    const AddedLight added = added_light(run, below, most_scaled);
    return added.coloured && added.level >= 0 && added.level <= most_added && added.left < like * added.size;
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

// Of 5 edges between runs that were both taken for bare blank (364 rendered photos: seeds 1700000, 1710000, 3000000, 3010000, 3090000, 3100000, 854000 and 856000 on), 4 were
// thread's, with 0.03 to 0.10, and one a guide's, with 0.12.
constexpr double bare_misfit = 0.11;

bool both_bare(const std::vector<BandFeatures>& features, std::size_t i) {
    return features[i].role == BandRole::blank && features[i - 1].role == BandRole::blank;
}

}  // namespace

bool join_over_false_edge(std::vector<Segment>& segments, const std::vector<BodyColour>& bodies, const CameraFit& fit) {
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

bool join_bare_neighbours(std::vector<Segment>& segments, const std::vector<BandFeatures>& features, const std::vector<BodyColour>& bodies) {
    std::vector<Segment> joined;
    for (std::size_t i = 0; i < segments.size(); ++i) {
        if (i > 0 && both_bare(features, i) && bodies[i].step_misfit > bare_misfit) {
            joined.back().end_mm = segments[i].end_mm;
        } else {
            joined.push_back(segments[i]);
        }
    }
    const bool changed = joined.size() != segments.size();
    segments = std::move(joined);
    return changed;
}

void tell_thread_from_blank(std::vector<BandFeatures>& features, const std::vector<BodyColour>& bodies, const CameraFit& fit) {
    const std::vector<Lab<D50>> labs = labs_of(bodies, fit);
    const auto off_ends = [&](std::size_t i) {
        double out = std::numeric_limits<double>::infinity();
        for (const std::size_t end : {std::size_t{0}, features.size() - 1})
            if (features[end].role == BandRole::blank) out = std::min(out, cie1976(labs[i], labs[end]));
        return out;
    };
    for (std::size_t i = 1; i < features.size(); ++i) {
        if (!both_bare(features, i)) continue;
        const std::size_t thread = off_ends(i) > off_ends(i - 1) ? i : i - 1;
        if (thread > 0 && thread + 1 < features.size()) features[thread].role = BandRole::wrap;
    }
}

}  // namespace bindhue::capture

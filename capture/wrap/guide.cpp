#include "wrap/guide.hpp"

#include <algorithm>

#include "colour/difference.hpp"

namespace bindhue::capture {
namespace {

// What stands over the rod, as a guide's frame or ring does: its ends are no steps all round the rod. Bands of rendered photos had a misfit under 0.03, or 0.11
// and an error under 0.002 where they are much alike; a guide that faces the camera 0.10 to 0.34 and 0.02 to 0.04.
constexpr double uneven_misfit = 0.09, uneven_error = 0.008, longest_frame_mm = 16;
// A foot under the thread: how far the colour may change where it begins (CIELAB distance); how much of a wrap beside a frame no foot reaches (common practice: some turns
// are wound on the bare blank first).
constexpr double over_foot = 12, beyond_foot_share = 0.3, beyond_foot_mm = 4;

}  // namespace

std::optional<GuideFrame> find_guide(const std::vector<Segment>& segments, const std::vector<BodyColour>& bodies) {
    const auto uneven = [&](std::size_t i) { return bodies[i].step_misfit > uneven_misfit && bodies[i].step_error > uneven_error; };
    std::size_t first = 0, end = 0;
    for (std::size_t i = 1; i < bodies.size(); ++i)
        if (uneven(i)) (first == 0 ? first : end) = i;
    if (end == 0 || segments[end - 1].end_mm - segments[first].begin_mm > longest_frame_mm) return std::nullopt;
    return GuideFrame{first, end};
}

std::vector<Segment> leave_guide_out(const GuideFrame& frame, std::vector<Segment>& segments, std::vector<BandFeatures>& features,
                                     const std::vector<BodyColour>& bodies, const CameraFit& fit) {
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

}  // namespace bindhue::capture

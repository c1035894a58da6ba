// Metallic thread: film in facets that mirror the lamps one by one. It glitters, and its colour depends on the angle.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "colour/camera_fit.hpp"
#include "wrap/shading.hpp"

namespace bindhue::capture {

// Whether a run glitters: brighter and darker from place to place, by tenths of a millimetre, by the same factor in all channels, all round the rod. What turns of thread and
// streaks of light do goes straight round the rod or along it; noise is no factor that all channels share. A run under 1.5 mm, or darker than a few percent of white, is never said to.
// On rendered photos 31 of 42 metallic bands were told (seeds 970000 to 970015), and of others 2 of 582 plain ones (beside a streak, and by a guide) and 3 of 36 of two colours
// whose stripes were not told (700000 to 730013, 911000 to 911015, 931000 to 931005, 941000 to 941005). The limits were chosen on these; of 990000 to 991011, judged once, 47 of 72 and none of 100.
bool glitters(const Skin& skin, const Segment& run, const Vector3& white, double facing_theta);

// The lightest and the darkest look of a run of metallic thread round the part of the rod that faces the camera: near the lamps' mirror angle and away from it, as far as
// the photo shows either. Responses as of a flat surface in the card's plane.
struct Looks {
    CameraRgb face, flop;
};

// By its steps to matt bands beside it, in which what the coat mirrors cancels. colours: of each segment, those of matt ones are used; pairs: those of `run` with
// matt segments are used. let_in: of light, by the coat, against what a colour is defined for. None where no step to a matt band is seen.
std::optional<Looks> looks_round(const std::vector<double>& theta, std::size_t run, std::span<const Pair> pairs, const std::vector<bool>& metallic,
                                 std::span<const CameraRgb> colours, const Shadings& shading, const Vector3& white, double let_in, double facing_theta);

}  // namespace bindhue::capture

// Runs of one colour along the rod.
#pragma once

#include <vector>

#include "colour/camera_fit.hpp"
#include "wrap/rod.hpp"

namespace bindhue::capture {

struct Segment {
    double begin_mm = 0, end_mm = 0;  // along the rod, from the left edge of the opening

    double length_mm() const { return end_mm - begin_mm; }
};

// Places where the colour steps along the strip that faces the camera, seen past streaks that the coat mirrors; edges are placed
// between samples by area. Neighbours that differ by less than least_step in CIELAB distance are one run; runs under 0.75 mm
// are taken for gaps between turns or for blurred edges.
inline constexpr double least_step = 2.5;
std::vector<Segment> find_segments(const Skin& skin, const CameraFit& fit, double facing_theta);

}  // namespace bindhue::capture

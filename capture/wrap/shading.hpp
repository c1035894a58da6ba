// How the light on a rod falls off round it, told by the steps between its bands.
//
// Across an edge between two bands what a coat mirrors cancels (wrap/body.hpp), and the step is c S(theta): c is the difference of the two body colours, S the
// shading, 1 where the surface faces as the card does. All steps of a rod share S, by channel, since unlike lights shade unlike channels a little differently.
#pragma once

#include <algorithm>
#include <array>
#include <vector>

#include "colour/matrix.hpp"
#include "wrap/segments.hpp"

namespace bindhue::capture {

inline constexpr double shading_reach = 0.6108652381980153;  // round the rod, from the card's normal, radians (35 degrees): further out, cast shadows begin
// Left out beside an edge: blur and the slope of a coat that ends there, which sees another part of the light. Of 0.35, 0.8, 1, 1.2 and 1.6 this read rendered photos best (path-traced seeds
// 100 to 125, 5000 to 5017 and as many by phone; own ones from 1700000 on).
inline constexpr double beside_edge_mm = 1.2;
inline double margin_of(const Segment& run) { return std::min(beside_edge_mm, 0.25 * run.length_mm()); }

// Means over a stretch of the rod, round it: per row of the skin, with the squared standard error.
struct Profile {
    std::vector<Vector3> mean, error_squared;
};
Profile profile_of(const Skin& skin, double begin_mm, double end_mm);

// S(theta) = 1 + p1 t + p2 t^2 + p3 t^3, t = theta.
struct Shading {
    Vector3 p{0, -0.5, 0};  // before any fit: two lights at +-45 degrees shade as cos(theta)

    double operator()(double t) const { return 1.0 + t * (p[0] + t * (p[1] + t * p[2])); }
};
using Shadings = std::array<Shading, 3>;

// A step between two bands, one channel: D(theta) = c S(theta) + noise, c not known.
struct Contrast {
    std::vector<double> value, deviation;  // per row; deviation not finite: not to be used
    double size = 0;                       // c, by the last fit
    double error = 0;                      // its standard error
};

// Two bands near enough to each other for the mirror image to be nearly the same.
struct Pair {
    std::size_t before = 0, after = 0;
    bool alike = false;            // known to have one body colour: the step is nought
    bool matt = true;              // both send on the same colour to all sides: the step has S's shape
    double apart_mm = 0;           // between their nearest ends; 0 for neighbours
    std::array<Contrast, 3> step;  // after minus before
};
// first, second: of `segments`, in order along the rod.
Pair step_between(const Skin& skin, const std::vector<Segment>& segments, std::size_t first, std::size_t second, const Vector3& white);

struct RodShading {
    Shadings by_channel;
    bool told = false;  // else no step is large enough, and S is assumed
};
// Fits S to the steps of matt bands (to all where those tell nothing) and sets each step's size and error.
RodShading fit_shading(const std::vector<double>& theta, std::vector<Pair>& pairs, const Vector3& white);

}  // namespace bindhue::capture

// How well a shop's own coat tests are predicted when they are held out of the learning: the only figure that the shop can trust.
#pragma once

#include <span>
#include <vector>

#include "colour/coat_learning.hpp"

namespace bindhue {

struct HeldOutErrors {
    double median = 0, p95 = 0;  // CIEDE2000 from the finished look
};

struct HeldOut {
    Material material = Material::nylon;
    Schedule schedule = Schedule::finish;
    std::size_t tests = 0;
    HeldOutErrors learned, prior, mean_shift;  // by the other tests; by the prior; by the mean shift of the others of its kind
    double inside = 0, prior_inside = 0;       // share of finished looks inside the stated 95 % region, 0..1
};

// For each material and schedule with at least two tests, each test predicted by all others of the shop (beyond 40 tests, a fortieth of them at a time). Of
// readings whose covariance is not known an error of 0.4 on each axis is assumed. Metallic is not learned and left out.
std::vector<HeldOut> held_out(std::span<const CoatTest> tests);

}  // namespace bindhue

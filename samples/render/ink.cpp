#include "ink.hpp"

#include <cmath>

namespace bindhue::render {
namespace {

// Optical density of a solid ink over the paper, both ways through the film. Invented, then adjusted until the prints came
// near the layout's aims: the card of the samples is a good print of calibration/card.json, not a perfect one.
Spectrum density(std::size_t ink) {
    switch (ink) {
        case 0:  // cyan
            return bump(624.2, 67.7, 1.362) + bump(702.9, 73.6, 0.769) + bump(568.7, 29.8, 0.239) +
                   bump(398.4, 46.2, 0.307) + constant(0.023);
        case 1:  // magenta
            return bump(552.0, 44.9, 1.155) + bump(513.0, 47.3, 0.672) + bump(439.7, 58.5, 0.302) +
                   bump(378.4, 45.5, 0.419) + constant(0.013);
        case 2:  // yellow
            return bump(421.5, 49.5, 1.292) + bump(467.0, 22.9, 0.700) + bump(384.1, 41.2, 0.435) +
                   bump(525.2, 35.6, 0.116) + constant(0.010);
        default:  // black
            return constant(1.539) + bump(400, 90, 0.064) + bump(760, 80, -0.052);
    }
}

// The solid spreads at the edge of each dot.
double with_dot_gain(double area) { return area + 0.079 * 4.0 * area * (1.0 - area); }

}  // namespace

Spectrum paper() {
    // Bright stock with little brightener: a shallow rise out of the violet, flat above 450 nm.
    return step(408, 16, 0.60, 0.855) + bump(450, 30, 0.012) + step(640, 60, 0.0, 0.012);
}

Spectrum black_trap() { return constant(0.002); }

Spectrum printed(const std::array<double, 4>& ink_percent) {
    static const std::array<Spectrum, 4> inks{density(0), density(1), density(2), density(3)};
    static const Spectrum stock = paper();
    std::array<double, 4> area{};
    for (std::size_t i = 0; i < 4; ++i) area[i] = with_dot_gain(ink_percent[i] / 100.0);

    Spectrum root{};
    for (unsigned primary = 0; primary < 16; ++primary) {
        double share = 1.0;
        Spectrum total{};
        for (std::size_t i = 0; i < 4; ++i) {
            const bool present = (primary >> i & 1u) != 0;
            share *= present ? area[i] : 1.0 - area[i];
            if (present) total = total + inks[i];
        }
        if (share <= 0.0) continue;
        for (std::size_t b = 0; b < band_count; ++b) {
            // 0.4 % comes back from the top of the ink whatever lies in it.
            const double solid = 0.004 + (stock[b] - 0.004) * std::pow(10.0, -total[b]);
            root[b] += share * std::sqrt(primary == 0 ? stock[b] : solid);
        }
    }
    return root * root;
}

}  // namespace bindhue::render

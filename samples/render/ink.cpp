#include "ink.hpp"

#include <cmath>

namespace bindhue::render {
namespace {

// Optical density of a solid ink over the paper, both ways through the film.
Spectrum density(std::size_t ink) {
    switch (ink) {
        case 0:  // cyan: the long tail towards blue makes its solids greenish
            return bump(632, 78, 1.35) + bump(700, 75, 0.85) + bump(575, 30, 0.18) + bump(395, 35, 0.22) +
                   constant(0.02);
        case 1:  // magenta
            return bump(552, 38, 1.25) + bump(515, 40, 0.75) + bump(440, 60, 0.20) + bump(375, 30, 0.30) +
                   constant(0.015);
        case 2:  // yellow
            return bump(425, 52, 1.35) + bump(470, 26, 0.45) + bump(385, 40, 0.45) + constant(0.008);
        default:  // black, a little brown
            return constant(1.48) + bump(400, 90, 0.06) + bump(760, 80, -0.12);
    }
}

// The solid spreads at the edge of each dot.
double with_dot_gain(double area) { return area + 0.07 * 4.0 * area * (1.0 - area); }

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

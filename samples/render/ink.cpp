#include "ink.hpp"

#include <cmath>
#include <random>

namespace bindhue::render {
namespace {

// Optical density of a solid ink over the paper, both ways through the film. Invented, then adjusted until the prints came
// near the layout's aims: the card of the samples is a good print of calibration/card.json, not a perfect one.
Spectrum density(std::size_t ink, double shift_nm) {
    const auto band = [&](double centre_nm, double width_nm, double height) { return bump(centre_nm + shift_nm, width_nm, height); };
    switch (ink) {
        case 0:  // cyan
            return band(624.2, 67.7, 1.362) + band(702.9, 73.6, 0.769) + band(568.7, 29.8, 0.239) +
                   band(398.4, 46.2, 0.307) + constant(0.023);
        case 1:  // magenta
            return band(552.0, 44.9, 1.155) + band(513.0, 47.3, 0.672) + band(439.7, 58.5, 0.302) +
                   band(378.4, 45.5, 0.419) + constant(0.013);
        case 2:  // yellow
            return band(421.5, 49.5, 1.292) + band(467.0, 22.9, 0.700) + band(384.1, 41.2, 0.435) +
                   band(525.2, 35.6, 0.116) + constant(0.010);
        default:  // black
            return constant(1.539) + bump(400, 90, 0.064) + bump(760, 80, -0.052);
    }
}

// What one printer puts on paper.
struct Press {
    std::array<Spectrum, 4> inks;
    double dot_gain = 0.079;  // of half an area
    Spectrum stock;
    Spectrum glow;  // of the bare stock's brightener

    // The solid spreads at the edge of each dot.
    double with_dot_gain(double area) const { return area + dot_gain * 4.0 * area * (1.0 - area); }
};

Press press_of(const Printer& printer) {
    Press out;
    // Bright stock with little brightener: a shallow rise out of the violet, flat above 450 nm.
    out.stock = step(408, 16, 0.60, 0.855) + bump(450, 30, 0.012) + step(640, 60, 0.0, 0.012);
    std::mt19937_64 random(printer.number);
    // Not a distribution of the library's, whose numbers differ from one to another.
    const auto spread = [&](double most) { return printer.number == 0 ? 0.0 : most * (2.0 * static_cast<double>(random() >> 11) * 0x1.0p-53 - 1); };
    for (std::size_t i = 0; i < 4; ++i) {
        const double shift_nm = spread(i == 3 ? 0 : 6), strength = 1 + spread(0.14);
        out.inks[i] = strength * density(i, shift_nm);
    }
    out.dot_gain *= 1 + spread(0.9);
    out.stock = (1 + spread(0.02)) * (out.stock + bump(430, 60, spread(0.025)));
    // From memory of stilbenes: between 400 and 500 nm.
    out.glow = bump(437, 32, printer.brightener);
    return out;
}

}  // namespace

Spectrum paper(const Printer& printer) { return printed({}, printer); }

Spectrum black_trap() { return constant(0.002); }

Spectrum printed(const std::array<double, 4>& ink_percent, const Printer& printer) {
    const Press press = press_of(printer);
    const std::array<Spectrum, 4>& inks = press.inks;
    const Spectrum& stock = press.stock;
    std::array<double, 4> area{};
    for (std::size_t i = 0; i < 4; ++i) area[i] = press.with_dot_gain(ink_percent[i] / 100.0);

    Spectrum root{}, let_out{};
    double let_in = 0;
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
            let_out[b] += share * std::pow(10.0, -total[b] / 2);
        }
        // Through each film once; ultraviolet about as the shortest wavelength that is known.
        let_in += share * std::pow(10.0, -total[0] / 2);
    }
    return root * root + let_in * (press.glow * let_out);
}

}  // namespace bindhue::render

#include "colour/surface_gamut.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>

#include "colour/adaptation.hpp"

namespace bindhue {
namespace {

constexpr std::size_t hues = 36;
constexpr double first_L = 15, L_step = 5, hue_step = 10;

// Pointer (1980): chroma by lightness, at the hues 0, 10 ... 350 degrees.
constexpr std::array<std::array<double, hues>, 16> chroma{{
    {10, 15, 14, 35, 27, 10, 4, 5, 6, 4, 9, 9, 4, 5, 7, 7, 8, 13,
     10, 7, 5, 0, 2, 10, 8, 9, 12, 14, 10, 20, 30, 62, 60, 20, 26, 15},  // L 15
    {30, 30, 34, 48, 40, 21, 15, 15, 15, 12, 16, 18, 14, 18, 20, 21, 24, 25,
     25, 19, 19, 12, 12, 20, 16, 21, 24, 31, 29, 40, 55, 76, 71, 50, 49, 37},  // L 20
    {43, 45, 49, 59, 53, 34, 26, 25, 24, 20, 23, 27, 23, 30, 32, 34, 36, 36,
     38, 30, 29, 17, 20, 29, 26, 32, 34, 42, 45, 60, 72, 85, 79, 72, 63, 52},  // L 25
    {56, 56, 61, 68, 66, 45, 37, 36, 32, 28, 30, 35, 32, 40, 42, 45, 48, 47,
     48, 40, 37, 26, 28, 36, 34, 40, 41, 50, 55, 69, 81, 88, 84, 86, 73, 65},  // L 30
    {68, 64, 69, 75, 79, 60, 48, 46, 40, 36, 37, 44, 41, 48, 52, 57, 58, 57,
     57, 48, 42, 34, 35, 42, 41, 49, 46, 55, 60, 71, 79, 85, 85, 89, 82, 73},  // L 35
    {77, 70, 74, 82, 90, 75, 59, 56, 48, 44, 45, 52, 49, 56, 60, 68, 68, 65,
     64, 55, 45, 43, 40, 46, 47, 54, 51, 60, 61, 69, 72, 80, 86, 89, 87, 79},  // L 40
    {79, 73, 76, 84, 94, 90, 70, 67, 55, 53, 51, 59, 57, 64, 69, 75, 76, 70,
     69, 59, 46, 49, 45, 49, 49, 55, 55, 60, 60, 65, 64, 71, 82, 86, 87, 82},  // L 45
    {77, 73, 76, 83, 93, 100, 82, 76, 64, 60, 58, 66, 64, 70, 76, 81, 82, 75,
     71, 62, 46, 51, 48, 51, 50, 55, 56, 57, 57, 58, 57, 62, 74, 80, 83, 84},  // L 50
    {72, 71, 74, 80, 88, 102, 93, 85, 72, 68, 65, 74, 71, 77, 82, 84, 85, 76,
     72, 62, 45, 54, 51, 52, 50, 52, 51, 50, 53, 50, 50, 55, 66, 72, 78, 79},  // L 55
    {65, 65, 68, 75, 82, 99, 103, 94, 82, 75, 72, 82, 78, 82, 87, 84, 83, 75,
     69, 60, 43, 50, 49, 50, 47, 48, 46, 45, 46, 43, 42, 47, 57, 63, 71, 73},  // L 60
    {57, 57, 61, 67, 72, 88, 106, 102, 94, 83, 80, 87, 84, 85, 89, 83, 78, 71,
     64, 55, 39, 46, 45, 45, 42, 43, 40, 39, 40, 36, 35, 41, 48, 54, 62, 63},  // L 65
    {50, 48, 51, 56, 60, 75, 98, 108, 105, 90, 86, 92, 90, 88, 90, 80, 69, 65,
     60, 49, 35, 40, 38, 39, 36, 36, 33, 33, 34, 29, 30, 34, 40, 45, 51, 53},  // L 70
    {40, 39, 40, 45, 47, 59, 85, 103, 115, 98, 94, 95, 94, 89, 83, 72, 59, 57,
     51, 41, 30, 32, 32, 32, 29, 29, 27, 26, 25, 24, 24, 27, 31, 36, 40, 40},  // L 75
    {30, 30, 30, 33, 35, 45, 66, 82, 115, 106, 100, 100, 95, 84, 71, 58, 49, 45,
     41, 32, 22, 24, 23, 24, 21, 21, 20, 20, 18, 18, 17, 20, 24, 27, 28, 30},  // L 80
    {19, 18, 19, 21, 22, 30, 45, 58, 83, 111, 106, 96, 83, 64, 54, 44, 34, 30,
     29, 23, 14, 14, 15, 15, 12, 13, 13, 13, 11, 12, 12, 14, 16, 18, 18, 17},  // L 85
    {8, 7, 9, 10, 10, 15, 23, 34, 48, 90, 108, 84, 50, 35, 30, 20, 15, 15,
     16, 13, 7, 4, 6, 7, 4, 4, 6, 6, 4, 5, 5, 6, 8, 9, 4, 6},  // L 90
}};

double at_row(std::size_t row, double hue_degrees) {
    const double place = hue_degrees / hue_step, below = std::floor(place), part = place - below;
    const auto i = static_cast<std::size_t>(below) % hues;
    return (1 - part) * chroma[row][i] + part * chroma[row][(i + 1) % hues];
}

}  // namespace

double highest_surface_chroma(double L, double hue_degrees) {
    hue_degrees -= 360 * std::floor(hue_degrees / 360);
    const double row = (L - first_L) / L_step;
    constexpr std::size_t last = chroma.size() - 1;
    constexpr double last_L = first_L + L_step * static_cast<double>(last);
    if (row <= 0) return at_row(0, hue_degrees) * std::max(0.0, L / first_L);
    if (row >= static_cast<double>(last))
        return at_row(last, hue_degrees) * std::max(0.0, (100 - L) / (100 - last_L));
    const auto below = static_cast<std::size_t>(row);
    const double part = row - std::floor(row);
    return (1 - part) * at_row(below, hue_degrees) + part * at_row(below + 1, hue_degrees);
}

namespace {

LCh<IlluminantC> in_table(const Lab<D50>& colour) { return to_lch(to_lab(adapt<IlluminantC>(to_xyz(colour)))); }

}  // namespace

bool is_surface_colour(const Lab<D50>& colour) {
    const LCh<IlluminantC> c = in_table(colour);
    return c.C <= highest_surface_chroma(c.L, c.h);
}

double vividness(const Lab<D50>& colour) {
    constexpr double darkest_L = 30, greyest_C = 30;
    const LCh<IlluminantC> c = in_table(colour);
    return c.L < darkest_L || c.C < greyest_C ? 0.0 : c.C / std::max(1.0, highest_surface_chroma(c.L, c.h));
}

// In the coordinates that CIEDE2000 measures in (a stretched near grey), each step as long as its weight.
std::vector<Lab<D50>> surface_colours(double step) {
    constexpr double darkest = 10, lightest = 95, most_chroma = 130, degree = std::numbers::pi / 180;
    const auto seventh_power_root = [](double C) {
        const double t7 = std::pow(C / 25, 7);
        return std::sqrt(t7 / (t7 + 1));
    };
    std::vector<Lab<D50>> out;
    int layer = 0;
    for (double L = darkest; L <= lightest; ++layer) {
        // Every other layer lies over the holes of the one below.
        for (double C = layer % 2 == 0 ? 0 : 0.5 * step; C <= most_chroma; C += step * (1 + 0.045 * C)) {
            const double rotation = seventh_power_root(C);
            for (double h = 0; h < 360;) {
                double a = C * std::cos(h * degree), b = C * std::sin(h * degree);
                a /= 1.5 - 0.5 * seventh_power_root(std::hypot(a / 1.25, b));
                if (const Lab<D50> colour{L, a, b}; is_surface_colour(colour)) out.push_back(colour);
                if (C == 0) break;
                const double T = 1 - 0.17 * std::cos((h - 30) * degree) + 0.24 * std::cos(2 * h * degree) +
                                 0.32 * std::cos((3 * h + 6) * degree) - 0.20 * std::cos((4 * h - 63) * degree);
                const double off = (h - 275) / 25;
                const double half_RT = rotation * std::sin(60 * degree * std::exp(-off * off));
                h += step * (1 + 0.015 * C * T) / C / degree / std::sqrt(1 - half_RT * half_RT);
            }
        }
        const double off = (L - 50) * (L - 50);
        L += step * (1 + 0.015 * off / std::sqrt(20 + off));
    }
    return out;
}

}  // namespace bindhue

#include "colour/thread_size.hpp"

#include <algorithm>
#include <cmath>

namespace bindhue {
namespace {

struct Size {
    std::string_view letter;
    double finest_mm, coarsest_mm;  // diameters quoted
};
constexpr Size sizes[] = {{"00", 0.10, 0.13}, {"A", 0.14, 0.18}, {"B", 0.17, 0.20}, {"C", 0.20, 0.25},
                          {"D", 0.23, 0.28},  {"E", 0.28, 0.33}, {"EE", 0.38, 0.45}};
constexpr double flattest = 1.15, tightest = 0.9;  // turn's width over diameter

}  // namespace

std::vector<std::string_view> likely_sizes(double pitch_mm) {
    std::vector<Size> fitting;
    for (const Size& s : sizes)
        if (pitch_mm >= tightest * s.finest_mm && pitch_mm <= flattest * s.coarsest_mm) fitting.push_back(s);
    const auto off = [&](const Size& s) { return std::abs(std::log(2 * pitch_mm / (s.finest_mm + s.coarsest_mm))); };
    std::sort(fitting.begin(), fitting.end(), [&](const Size& a, const Size& b) { return off(a) < off(b); });
    std::vector<std::string_view> out;
    for (const Size& s : fitting) out.push_back(s.letter);
    return out;
}

}  // namespace bindhue

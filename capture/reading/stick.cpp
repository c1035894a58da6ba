#include "reading/stick.hpp"

#include <algorithm>
#include <cmath>

#include "colour/opacity.hpp"
#include "wrap/rod.hpp"

namespace bindhue::capture {
namespace {

constexpr double least_bare_mm = 15;  // the sleeve's halves are 55 mm long, and the dowel beyond them shows less
constexpr double least_wrap_mm = 6;

// A run of bands that begins and ends bare.
struct Run {
    std::size_t first = 0, last = 0;
    double apart = 0;  // its ends, in L*; 0 if there is none
    bool black_first = false;
};

Run best_run(std::span<const BandReading> bands, std::size_t count) {
    Run out;
    for (std::size_t first = 0; first + count <= bands.size(); ++first) {
        const BandReading &one = bands[first], &other = bands[first + count - 1];
        const double apart = other.colour.lab.L - one.colour.lab.L;
        if (std::min(one.length_mm, other.length_mm) >= least_bare_mm && std::abs(apart) >= least_grounds_apart && std::abs(apart) > out.apart)
            out = {first, first + count - 1, std::abs(apart), apart > 0};
    }
    return out;
}

}  // namespace

std::optional<StickParts> find_stick(std::span<const BandReading> bands) {
    const Run four = best_run(bands, 4);
    if (four.apart == 0 || best_run(bands, 3).apart > four.apart) return std::nullopt;
    StickParts out{four.first + 1, four.first + 2, four.first, four.last};
    if (!four.black_first) {
        std::swap(out.over_black, out.over_white);
        std::swap(out.black, out.white);
    }
    return out;
}

std::optional<std::vector<double>> edges_across(std::span<const BandReading> bands) {
    const Run three = best_run(bands, 3);
    if (three.apart == 0 || best_run(bands, 4).apart >= three.apart || bands[three.first + 1].length_mm < least_wrap_mm) return std::nullopt;
    // Nearer to the opening's ends no edge is taken (read_rod).
    const double near_end = opening_border_mm + shortest_given_band_mm, end = bands.back().start_mm + bands.back().length_mm;
    std::vector<double> out;
    for (std::size_t i = 1; i < bands.size(); ++i) {
        if (bands[i].start_mm < near_end || bands[i].start_mm > end - near_end) continue;
        out.push_back(bands[i].start_mm);
        if (i == three.first + 1) out.push_back(bands[i].start_mm + bands[i].length_mm / 2);
    }
    return out;
}

}  // namespace bindhue::capture

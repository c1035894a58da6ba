#include "colour/coated_blank.hpp"

#include "colour/coating.hpp"

namespace bindhue {
namespace {

// A guess: mostly smooth and lacquered. A quarter is the middle of the lower half, and half of the way to either end is one standard deviation.
constexpr double usual_matte = 0.25, matte_sd = 0.25;

}  // namespace

Result<Reading> coated_blank(const Reading& bare) {
    const Result<Surface> surface = Surface::from(bare);
    if (!surface) return surface.error();
    const auto look = [&](const Surface& blank, double matte) { return coated_ground_look(blank, matte).vector(); };
    const Vector3 base = look(*surface, usual_matte), smooth = look(*surface, usual_matte - matte_sd), rough = look(*surface, usual_matte + matte_sd);
    Matrix3 slope;
    constexpr double step = 0.25;
    for (std::size_t axis = 0; axis < 3; ++axis) {
        Vector3 moved = bare.lab.vector();
        const double by = moved[axis] > 0 ? -step : step;
        moved[axis] += by;
        const Vector3 there = look(Surface::nearest({Lab<D50>::from(moved), {}, {}}), usual_matte);
        for (std::size_t k = 0; k < 3; ++k) slope(k, axis) = (there[k] - base[k]) / by;
    }
    Reading out{Lab<D50>::from(base), slope * bare.covariance * transpose(slope), bare.context};
    for (std::size_t r = 0; r < 3; ++r)
        for (std::size_t c = 0; c < 3; ++c) out.covariance(r, c) += 0.25 * (rough[r] - smooth[r]) * (rough[c] - smooth[c]);
    out.covariance = 0.5 * (out.covariance + transpose(out.covariance));
    return out;
}

}  // namespace bindhue

// How unevenly a card is lit: a low-order field of light over its plane.
#pragma once

#include <array>

#include "colour/matrix.hpp"

namespace bindhue {

// A place on the card, in millimetres from its upper left corner; x to the right, y down.
struct CardPoint {
    double x_mm = 0, y_mm = 0;
};

// Light per channel, relative to its mean over the rectangle that the patches span:
// E = 1 + gx u + gy v + guu (u^2 - 1/3) + guv u v + gvv (v^2 - 1/3), with u and v from -1 to 1 over that
// rectangle. The thirds keep the mean at 1, so that a curved field does not pass for a change of exposure.
class LightField {
  public:
    static constexpr int linear_terms = 2, quadratic_terms = 5;
    using Terms = std::array<double, quadratic_terms>;

    CardPoint centre{}, half_size{1, 1};
    std::array<Terms, 3> terms{};  // per channel: u, v, u^2, uv, v^2; all zero is even light

    // Relative light at a place. A place beyond the patches is taken at most a quarter of the half size
    // outside, because a polynomial knows nothing out there; the answer is never below 0.05.
    Vector3 at(const CardPoint& place) const;

    // The values that `terms` multiply at a place.
    Terms basis(const CardPoint& place) const;
};

}  // namespace bindhue

#include "colour/fluorescence.hpp"

#include <algorithm>

#include "colour/surface_gamut.hpp"

namespace bindhue {

bool may_glow(const Lab<D50>& colour) { return vividness(colour) > vivid_as_few; }

Vector3 doubt_of_glow(const Lab<D50>& colour) {
    if (!may_glow(colour)) return {};
    constexpr double share = 0.15;
    const XYZ<D50> seen = to_xyz(colour);
    const double grey = std::min({seen.X / D50::X, seen.Y / D50::Y, seen.Z / D50::Z});
    const auto with = [&](double k) {
        return to_lab(XYZ<D50>{seen.X + k * (seen.X - grey * D50::X), seen.Y + k * (seen.Y - grey * D50::Y), seen.Z + k * (seen.Z - grey * D50::Z)}).vector();
    };
    const Vector3 more = with(share), less = with(-share);
    return {(more[0] - less[0]) / 2, (more[1] - less[1]) / 2, (more[2] - less[2]) / 2};
}

}  // namespace bindhue

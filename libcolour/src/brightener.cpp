#include "colour/brightener.hpp"

#include <algorithm>
#include <cmath>

#include "colour/adaptation.hpp"

namespace bindhue {
namespace {

constexpr double darkest_white_L = 80, greatest_white_chroma = 40;  // else it is no white

}  // namespace

std::optional<Lab<D50>> glowing_white(std::span<const Lab<D50>> greys) {
    const auto lightest = std::ranges::max_element(greys, {}, &Lab<D50>::L);
    if (lightest == greys.end()) return std::nullopt;
    const bool white = lightest->L >= darkest_white_L && std::hypot(lightest->a, lightest->b) < greatest_white_chroma;
    return white && lightest->b < bluest_plain_b ? std::optional(*lightest) : std::nullopt;
}

Vector3 shift_without_ultraviolet(const Lab<D50>& colour, const Lab<D50>& white) {
    const Matrix3 to_plain = adaptation_matrix(to_xyz(white).vector(), to_xyz(Lab<D50>{white.L, 0, 0}).vector());
    const Vector3 plain = to_lab(XYZ<D50>::from(to_plain * to_xyz(colour).vector())).vector(), as_read = colour.vector();
    return {plain[0] - as_read[0], plain[1] - as_read[1], plain[2] - as_read[2]};
}

}  // namespace bindhue

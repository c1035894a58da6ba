#include "colour/light_field.hpp"

#include <algorithm>
#include <cmath>

namespace bindhue {
namespace {

constexpr double reach = 1.25;
constexpr double darkest = 0.05;

double relative(double place, double centre, double half_size) {
    if (!(half_size > 0)) return 0;
    const double u = (place - centre) / half_size;
    return std::isnan(u) ? 0 : std::clamp(u, -reach, reach);
}

}  // namespace

LightField::Terms LightField::basis(const CardPoint& place) const {
    const double u = relative(place.x_mm, centre.x_mm, half_size.x_mm);
    const double v = relative(place.y_mm, centre.y_mm, half_size.y_mm);
    return {u, v, u * u - 1.0 / 3, u * v, v * v - 1.0 / 3};
}

Vector3 LightField::at(const CardPoint& place) const {
    const Terms b = basis(place);
    Vector3 light{1, 1, 1};
    for (std::size_t c = 0; c < 3; ++c) {
        for (std::size_t k = 0; k < b.size(); ++k) light[c] += terms[c][k] * b[k];
        light[c] = std::max(light[c], darkest);
    }
    return light;
}

}  // namespace bindhue

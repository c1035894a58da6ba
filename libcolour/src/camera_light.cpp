#include "colour/camera_light.hpp"

#include <cmath>

namespace bindhue {
namespace {

constexpr std::size_t most_components = 32, most_lights = 200;

Error wrong(const std::string& what, const std::string& where) {
    return {Reason::bad_value, what, where, "Use the prior as it was made."};
}

bool finite(const Spectrum& s) {
    for (const double v : s.values)
        if (!std::isfinite(v) || std::abs(v) > 1e6) return false;
    return true;
}

bool no_less_than_zero(const Spectrum& s) {
    for (const double v : s.values)
        if (v < 0) return false;
    return true;
}

double sum(const Spectrum& s) {
    double out = 0;
    for (const double v : s.values) out += v;
    return out;
}

}  // namespace

Status validate(const CameraLightPrior& prior) {
    if (prior.components.size() > most_components) return wrong("There are too many components.", "components");
    if (prior.lights.empty()) return wrong("There is no light.", "lights");
    if (prior.lights.size() > most_lights) return wrong("There are too many lights.", "lights");
    if (!(prior.reach_nm >= 10 && prior.reach_nm <= 200)) return wrong("The reach is not 10 to 200 nm.", "reach_nm");
    for (std::size_t c = 0; c < 3; ++c) {
        if (!finite(prior.mean[c]) || !(sum(prior.mean[c]) > 0.5 && sum(prior.mean[c]) < 2))
            return wrong("A mean sensitivity does not sum to 1.", "mean");
        if (!finite(prior.spread[c]) || !no_less_than_zero(prior.spread[c]))
            return wrong("A spread is below 0 or not a number.", "spread");
    }
    for (std::size_t k = 0; k < prior.components.size(); ++k)
        for (const Spectrum& curve : prior.components[k])
            if (!finite(curve))
                return wrong("A component is not a number.", "components[" + std::to_string(k) + "]");
    for (const LibraryLight& light : prior.lights) {
        if (!finite(light.power) || !no_less_than_zero(light.power))
            return wrong("A light is below 0 or not a number.", "light " + light.name);
        for (const Spectrum& mean : prior.mean) {
            double seen = 0;
            for (std::size_t i = 0; i < spectrum_size; ++i) seen += mean[i] * light.power[i];
            if (!(seen > 1e-9)) return wrong("A channel sees nothing of a light.", "light " + light.name);
        }
    }
    return ok();
}

}  // namespace bindhue

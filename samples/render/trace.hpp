// From a scene to the linear picture that falls on the sensor, and the truth about it.
#pragma once

#include <array>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "card.hpp"
#include "scene.hpp"

namespace bindhue::render {

// Relative spectral sensitivities.
struct Sensor {
    std::string name;
    std::array<Spectrum, 3> rgb;
};

// Interleaved R, G, B in sensor units: paper in the brightest place of the card = 1 in its brightest channel.
struct Picture {
    int width = 0, height = 0;
    std::vector<float> rgb;

    float* at(int x, int y) {
        return &rgb[3 * (static_cast<std::size_t>(y) * static_cast<std::size_t>(width) +
                         static_cast<std::size_t>(x))];
    }
    const float* at(int x, int y) const { return const_cast<Picture*>(this)->at(x, y); }
};

struct Traced {
    Picture picture;
    std::array<double, 3> paper{};  // what the sensor says of paper in the first light, brightest channel 1
    nlohmann::json truth;
};

Traced trace(const Scene& scene, const CardPrint& card, const Sensor& sensor);

}  // namespace bindhue::render

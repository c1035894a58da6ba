// From the light on the sensor to a file: lens, mosaic, noise, development.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "scene.hpp"
#include "trace.hpp"

namespace bindhue::render {

// {"wavelength_nm": [380, 385 .. 780], "cameras": {name: {"R": [..], "G": [..], "B": [..]}}}. Throws
// std::runtime_error.
std::map<std::string, Sensor> sensors_from(const std::string& path);

struct Developed {
    std::vector<unsigned char> file;  // encoded, as scene.output says
    std::array<double, 3> white_balance_gains{};
    double clipped_share = 0;  // of pixels with a full channel
};

Developed develop(const Scene& scene, const Traced& traced, const CardPrint& card, const Sensor& sensor);

}  // namespace bindhue::render

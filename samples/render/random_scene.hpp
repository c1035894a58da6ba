// Scenes that nobody arranged, for accuracy runs.
#pragma once

#include <cstdint>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

namespace bindhue::render {

// The same seed gives the same scene everywhere. any_light: all lights of the tables, mixtures of unlike ones
// and steeper gradients; else D50, D65 and LED-B3.
nlohmann::json random_scene(std::uint64_t seed, const std::vector<std::string>& sensors, bool any_light,
                            bool phone);

}  // namespace bindhue::render

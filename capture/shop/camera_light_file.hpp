// The file of the prior of cameras and lights (calibration/camera-light.json), and the one that is built into the program.
#pragma once

#include <string>
#include <string_view>

#include "colour/camera_light.hpp"
#include "colour/result.hpp"

namespace bindhue::capture {

// `where` names the text in errors. Errors: bad_format, bad_value.
Result<CameraLightPrior> read_camera_light(std::string_view text, const std::string& where);

// As in calibration/camera-light.json; read at the first call (some milliseconds).
const CameraLightPrior& built_in_camera_light();

}  // namespace bindhue::capture

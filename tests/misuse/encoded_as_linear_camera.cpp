// error: (could not convert|no viable conversion)
#include "colour/spaces.hpp"

using namespace bindhue;

CameraRgb linear_light(const EncodedCameraRgb& c) { return c; }

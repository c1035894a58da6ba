#pragma once

#include "colour/camera_fit.hpp"

// A fit that does nothing but give XYZ from RGB by a plain matrix: white is RGB (1, 1, 1).
inline bindhue::CameraFit plain_fit() {
    bindhue::CameraFit fit;
    fit.model = bindhue::ColourModel::matrix;
    fit.map[0] = {0.55, 0.30, 0.1142, 0, 0, 0};
    fit.map[1] = {0.30, 0.65, 0.05, 0, 0, 0};
    fit.map[2] = {0.02, 0.08, 0.7251, 0, 0, 0};
    return fit;
}

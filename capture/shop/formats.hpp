// Every file format of ours, with the steps from its older versions: to change a format, add a step to its row.
#pragma once

#include "shop/versions.hpp"

namespace bindhue::capture {

extern const FileFormat spools_format;        // palettes/spools.schema.json
extern const FileFormat coat_tests_format;    // palettes/coat-tests.schema.json
extern const FileFormat job_format;           // palettes/job.schema.json
extern const FileFormat settings_format;      // palettes/settings.schema.json
extern const FileFormat reading_format;       // what `bindhue read --json` prints
extern const FileFormat card_format;          // calibration/card.schema.json
extern const FileFormat camera_light_format;  // calibration/camera-light.json

}  // namespace bindhue::capture

// A reading drawn on its photo.
#pragma once

#include <filesystem>

#include "colour/result.hpp"
#include "reading/reading.hpp"

namespace bindhue::capture {

// PNG: the photo, at most 1600 pixels wide, with card and bands outlined and numbered; below it, on neutral grey, the rod as a strip to
// scale with each band in its measured colour, its number, role and CIELAB. Error: storage.
Status write_reading_picture(const WrapReading& reading, const std::filesystem::path& path);

}  // namespace bindhue::capture

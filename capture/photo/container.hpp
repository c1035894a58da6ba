// What an image file says of itself before a pixel is decoded: format, size, embedded profile, camera.
//
// Reads JPEG (JFIF/EXIF APPn), PNG and TIFF headers. Hostile input is expected: every offset is checked.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "colour/result.hpp"

namespace bindhue::capture {

enum class ImageFormat { jpeg, png, tiff };

struct Container {
    ImageFormat format = ImageFormat::jpeg;
    std::uint32_t width = 0, height = 0;  // as stored, before orientation
    std::vector<std::uint8_t> icc;        // embedded profile, empty if none
    std::string camera;                   // EXIF/TIFF maker and model, empty if not said
    double focal_35mm = 0;                // EXIF focal length in 35 mm film, mm; 0 if not said
};

// Errors: bad_format (not a JPEG, PNG or TIFF; cut short; a size of nothing or over 200 megapixels).
Result<Container> read_container(std::span<const std::uint8_t> bytes, const std::string& where);

}  // namespace bindhue::capture

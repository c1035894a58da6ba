// What an image file says of itself before a pixel is decoded: format, size, embedded profile, camera.
//
// Reads JPEG (JFIF/EXIF APPn), PNG and TIFF headers, and tells HEIC and camera raw files, whose heads their
// decoders read. Hostile input is expected: every offset is checked.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "colour/result.hpp"
#include "photo/exif.hpp"

namespace bindhue::capture {

enum class ImageFormat { jpeg, png, tiff, heif, raw };

struct Container {
    ImageFormat format = ImageFormat::jpeg;
    // Not said for heif and raw:
    std::uint32_t width = 0, height = 0;  // as stored, before orientation
    int bits = 8;                         // a sample
    std::vector<std::uint8_t> icc;        // embedded profile, empty if none
    Exif exif;
};

// Errors: bad_format (no photo; cut short; a size that check_size refuses). What is none of the first four is taken
// for raw if it is large enough to be: LibRaw knows whether it is.
Result<Container> read_container(std::span<const std::uint8_t> bytes, const std::string& where);

// A picture of this size and depth may be decoded: at most 200 megapixels of 8 bits or 100 of 16, and no more
// than a file of so many bytes can honestly hold. Asked before memory is taken. Error: bad_format.
Status check_size(std::uint64_t width, std::uint64_t height, int bits, std::size_t file_bytes,
                  const std::string& where);

}  // namespace bindhue::capture

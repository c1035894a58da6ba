// A photograph, decoded and upright, and nothing read into it yet.
#pragma once

#include <filesystem>
#include <span>
#include <string>

#include <opencv2/core/mat.hpp>

#include "colour/result.hpp"

namespace bindhue::capture {

struct PhotoOptions {
    // The file holds linear camera RGB (for instance developed from raw without a curve). Raw files do, asked or not.
    bool linear = false;
};

// Pixels stay in the file's depth (8 or 16 bits) until a part of them is wanted as float: a 12-megapixel
// photo in float is 144 MB, and only the card is ever measured.
struct Photo {
    cv::Mat bgr;          // CV_8UC3 or CV_16UC3, upright; blue first, as the decoder gives it
    bool linear = false;  // else encoded through a tone curve that is not known
    std::string camera;   // as the file says, empty if it does not
    double focal_35mm = 0;
    std::string source;  // path, for messages

    double full_scale() const { return bgr.depth() == CV_8U ? 255.0 : 65535.0; }
};

// JPEG, PNG, TIFF with 8 or 16 bits, HEIC, DNG and cameras' raw files; orientation applied; an embedded RGB
// profile is honoured (a matrix profile by the camera fit, which finds primaries and curve from the card; one
// with tables by undoing it here). A damaged picture is refused, not filled in. Errors: bad_format; not_found.
Result<Photo> decode_photo(std::span<const std::uint8_t> bytes, const std::string& source,
                           const PhotoOptions& options = {});
Result<Photo> load_photo(const std::filesystem::path& path, const PhotoOptions& options = {});

}  // namespace bindhue::capture

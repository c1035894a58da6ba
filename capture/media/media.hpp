// Cameras, videos, files of pictures and QR codes: what of OpenCV draws some two hundred libraries after it (FFmpeg, GStreamer, GDAL), which took a fifth of a
// second to load, whatever a command was for. It lies in a library of its own, bindhue_media, which is loaded when it is first asked for.
#pragma once

#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include <opencv2/core/mat.hpp>

#include "colour/result.hpp"

namespace bindhue::capture {

class VideoInput {
  public:
    virtual ~VideoInput() = default;
    // The next frame; false at the end, and where a video is damaged: its decoder does not tell which.
    virtual bool read(cv::Mat& frame) = 0;
};

class Media {
  public:
    virtual ~Media() = default;
    // By the number that the system gives it, at that size or the next that it has; null if it can't be opened.
    virtual std::unique_ptr<VideoInput> open_camera(int number, int width, int height) const = 0;
    // A file, never an address on a network; null if it can't be opened.
    virtual std::unique_ptr<VideoInput> open_video(const std::string& path) const = 0;
    // As the ending says: ".jpg" (quality 85), ".png" or ".tiff". Empty if it can't be encoded.
    virtual std::vector<std::uint8_t> encode(const std::string& ending, const cv::Mat& picture) const = 0;
    // One byte a module, 0 dark, 255 light; empty if the text is too long.
    virtual cv::Mat qr_code(const std::string& text) const = 0;
};

// Loads the library if it is not loaded yet. Error: not_found, where it is not installed beside the program.
Result<const Media*> media();

}  // namespace bindhue::capture

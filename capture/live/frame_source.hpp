// Frames from a camera, a video file or a numbered sequence of pictures.
#pragma once

#include <memory>
#include <optional>
#include <string>

#include "colour/result.hpp"
#include "photo/photo.hpp"

namespace bindhue::capture {

class FrameSource {
  public:
    virtual ~FrameSource() = default;
    // The next frame, upright; none at the end. Error: bad_format where a picture of a sequence can't be read.
    virtual Result<std::optional<Photo>> next() = 0;
};

// By the number that the system gives the camera, at the size asked for or the next that it has. Error: not_found.
Result<std::unique_ptr<FrameSource>> open_camera(int number, int width, int height);

// A video file, or a sequence of pictures named with one number, as shot-%04d.png, from the lowest of 0 to 9999 up to the first that is not there:
// those are read as photos are, `linear` or not, and keep 16 bits. Never an address on a network. Errors: not_found; bad_format.
Result<std::unique_ptr<FrameSource>> open_frames(const std::string& path, bool linear);

}  // namespace bindhue::capture

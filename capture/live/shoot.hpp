// A live capture: says what is to be mended until enough good frames in a row were seen, and gives their mean.
#pragma once

#include <functional>
#include <string>
#include <vector>

#include "live/frame_source.hpp"
#include "live/preview.hpp"

namespace bindhue::capture {

struct ShootOptions {
    CardLayout layout;
    std::size_t frames = 12;  // good ones, in a row and held still
    double timeout_s = 120;   // by the clock
};

struct ShootProgress {
    std::size_t frame = 0;       // counted from 1
    std::size_t good = 0;        // in a row so far
    std::vector<Advice> advice;  // empty: hold still
};

struct Shot {
    cv::Mat picture;  // CV_16UC3, encoded as the frames are, or linear
    bool linear = false;
    std::size_t frames = 0;  // averaged
    std::size_t seen = 0;    // in all
};

// Errors: the source's; cannot_measure if it ends, or time does, before that, with the advice of the last frame that was not good.
Result<Shot> shoot(FrameSource& source, const ShootOptions& options, const std::function<void(const ShootProgress&)>& on_frame = {});

// Whether the name ends as save_shot wants it, to be asked before anybody holds still. Error: bad_value.
Status can_save_shot(const std::string& path);

// The picture as a PNG or TIFF file of 16 bits, by the name's ending. Errors: bad_value (another ending); storage.
Status save_shot(const Shot& shot, const std::string& path);

}  // namespace bindhue::capture

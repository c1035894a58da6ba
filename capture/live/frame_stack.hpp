// Frames of a card that is held still, laid on each other by the card and averaged in linear light.
#pragma once

#include <optional>

#include "card/pose.hpp"
#include "photo/photo.hpp"
#include "shop/card_layout.hpp"

namespace bindhue::capture {

// Encoded frames are averaged through the curve of sRGB and given back through it: frames that differ by noise alone give the camera's own
// encoding again, whatever it is, to second order in the noise.
class FrameStack {
  public:
    explicit FrameStack(const CardLayout& layout) : layout_(&layout) {}

    // Lays the frame on the first one by where the card's corners are. If they moved by more than `still_mm` (the rod stands out of the card's
    // plane, so that parallax would smear it), or the frame is of another size or kind, everything begins anew with it: false.
    bool add(const Photo& frame, const CardPose& pose);
    void clear();

    std::size_t frames() const { return frames_; }
    // 16 bits, encoded as the frames are. Precondition: frames() > 0.
    cv::Mat mean() const;

    static constexpr double still_mm = 2.0;

  private:
    void begin(const Photo& frame, const CardPose& pose);

    const CardLayout* layout_;
    cv::Mat sum_;  // CV_32FC3, linear
    bool linear_ = false;
    CardPose first_;
    std::size_t frames_ = 0;
};

}  // namespace bindhue::capture

#include "live/frame_stack.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include <opencv2/imgproc.hpp>

#include "colour/spaces.hpp"

namespace bindhue::capture {
namespace {

cv::Mat linear_light(const Photo& frame) {
    cv::Mat out;
    if (frame.linear) {
        frame.bgr.convertTo(out, CV_32F, 1 / frame.full_scale());
        return out;
    }
    const auto levels = static_cast<std::size_t>(frame.full_scale()) + 1;
    std::vector<float> curve(levels);
    for (std::size_t i = 0; i < levels; ++i) curve[i] = static_cast<float>(to_linear(EncodedSrgb{static_cast<double>(i) / frame.full_scale(), 0, 0}).r);
    out.create(frame.bgr.size(), CV_32FC3);
    for (int y = 0; y < frame.bgr.rows; ++y) {
        auto* to = out.ptr<float>(y);
        const int n = 3 * frame.bgr.cols;
        if (frame.bgr.depth() == CV_8U) {
            const auto* from = frame.bgr.ptr<std::uint8_t>(y);
            for (int x = 0; x < n; ++x) to[x] = curve[from[x]];
        } else {
            const auto* from = frame.bgr.ptr<std::uint16_t>(y);
            for (int x = 0; x < n; ++x) to[x] = curve[from[x]];
        }
    }
    return out;
}

std::array<cv::Point2f, 4> corners(const CardLayout& layout, const CardPose& pose) {
    const auto at = [&](double x, double y) { return cv::Point2f(pose.project({x, y, 0})); };
    return {at(0, 0), at(layout.width_mm, 0), at(layout.width_mm, layout.height_mm), at(0, layout.height_mm)};
}

}  // namespace

void FrameStack::clear() {
    frames_ = 0;
    sum_.release();
}

void FrameStack::begin(const Photo& frame, const CardPose& pose) {
    sum_ = linear_light(frame);
    linear_ = frame.linear;
    first_ = pose;
    frames_ = 1;
}

bool FrameStack::add(const Photo& frame, const CardPose& pose) {
    if (frames_ == 0 || frame.bgr.size() != sum_.size() || frame.linear != linear_) {
        const bool fresh = frames_ == 0;
        begin(frame, pose);
        return fresh;
    }
    const auto was = corners(*layout_, first_), is = corners(*layout_, pose);
    double moved = 0;
    for (std::size_t i = 0; i < 4; ++i) moved = std::max(moved, cv::norm(is[i] - was[i]));
    if (moved > still_mm * first_.px_per_mm) {
        begin(frame, pose);
        return false;
    }
    // A pose wavers by a tenth of a pixel or two from frame to frame: less than that is no movement, and a picture that is not resampled is sharper.
    constexpr double waver_px = 0.4;
    cv::Mat here = linear_light(frame);
    if (moved > waver_px) {
        const cv::Mat onto = cv::getPerspectiveTransform(is.data(), was.data());
        cv::Mat there;
        cv::warpPerspective(here, there, onto, here.size(), cv::INTER_LINEAR, cv::BORDER_REPLICATE);
        here = std::move(there);
    }
    sum_ += here;
    ++frames_;
    return true;
}

cv::Mat FrameStack::mean() const {
    cv::Mat out(sum_.size(), CV_16UC3);
    const double n = static_cast<double>(frames_);
    for (int y = 0; y < sum_.rows; ++y) {
        const auto* from = sum_.ptr<float>(y);
        auto* to = out.ptr<std::uint16_t>(y);
        for (int x = 0; x < 3 * sum_.cols; ++x) {
            const double v = std::clamp(static_cast<double>(from[x]) / n, 0.0, 1.0);
            to[x] = static_cast<std::uint16_t>(std::lround(65535 * (linear_ ? v : to_encoded(LinearSrgb{v, 0, 0}).r)));
        }
    }
    return out;
}

}  // namespace bindhue::capture

// Frames as a camera might send them: a rendered sample photo, smaller, and what goes wrong with such pictures.
#pragma once

#include <random>

#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "photo/photo.hpp"
#include "support/sample.hpp"

// samples/photos/door.jpg at about 7 px/mm.
inline cv::Mat live_frame() {
    const cv::Mat whole = cv::imread((samples / "photos/door.jpg").string(), cv::IMREAD_COLOR | cv::IMREAD_IGNORE_ORIENTATION);
    REQUIRE_FALSE(whole.empty());
    cv::Mat out;
    cv::resize(whole, out, {}, 0.65, 0.65, cv::INTER_AREA);
    return out;
}

inline bindhue::capture::Photo as_photo(const cv::Mat& bgr) {
    bindhue::capture::Photo out;
    out.bgr = bgr;
    out.source = "frame";
    return out;
}

// In the file's values.
inline cv::Mat brighter(const cv::Mat& frame, double times) {
    cv::Mat out;
    frame.convertTo(out, -1, times);
    return out;
}

inline cv::Mat noisy(const cv::Mat& frame, unsigned seed, double deviation) {
    std::mt19937 random(seed);
    std::normal_distribution<float> noise(0, static_cast<float>(deviation));
    cv::Mat out = frame.clone();
    for (int y = 0; y < out.rows; ++y)
        for (int x = 0; x < 3 * out.cols; ++x) {
            auto& v = out.ptr<uchar>(y)[x];
            v = cv::saturate_cast<uchar>(static_cast<float>(v) + noise(random));
        }
    return out;
}

inline cv::Mat moved(const cv::Mat& frame, double x, double y) {
    cv::Mat out;
    cv::warpAffine(frame, out, cv::Matx23d(1, 0, x, 0, 1, y), frame.size(), cv::INTER_LINEAR, cv::BORDER_REPLICATE);
    return out;
}

#include "live/frame_stack.hpp"

#include <catch2/catch.hpp>

#include "support/live_frames.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

// Root mean square between two pictures away from the edges, in parts of full scale.
double apart(const cv::Mat& one, const cv::Mat& other) {
    cv::Mat a, b;
    one.convertTo(a, CV_32F, one.depth() == CV_8U ? 1 / 255.0 : 1 / 65535.0);
    other.convertTo(b, CV_32F, other.depth() == CV_8U ? 1 / 255.0 : 1 / 65535.0);
    const cv::Rect inside(20, 20, one.cols - 40, one.rows - 40);
    return cv::norm(a(inside), b(inside), cv::NORM_L2) / std::sqrt(3.0 * inside.area());
}

CardPose pose_of(const cv::Mat& frame) {
    const auto pose = find_card(as_photo(frame), sample_layout());
    REQUIRE(pose);
    return *pose;
}

}  // namespace

TEST_CASE("The mean of noisy frames has the noise of one over the root of their number") {
    const cv::Mat frame = live_frame();
    const CardPose pose = pose_of(frame);
    const CardLayout layout = sample_layout();
    FrameStack stack(layout);
    for (unsigned i = 0; i < 16; ++i) CHECK(stack.add(as_photo(noisy(frame, i, 4)), pose));
    CHECK(stack.frames() == 16);
    const double one = apart(noisy(frame, 99, 4), frame), mean = apart(stack.mean(), frame);
    CHECK(mean < 1.2 * one / 4);
    CHECK(stack.mean().type() == CV_16UC3);
    FrameStack alone(layout);
    alone.add(as_photo(frame), pose);
    CHECK(apart(alone.mean(), frame) < 1e-4);
}

TEST_CASE("Frames held by hand are laid on each other by the card") {
    const cv::Mat frame = live_frame();
    const CardLayout layout = sample_layout();
    FrameStack by_card(layout), as_they_come(layout);
    const CardPose pose = pose_of(frame);
    for (int i = 0; i < 8; ++i) {
        const cv::Mat there = moved(frame, 1.5 * (i % 4), 1.1 * (i % 3));
        CHECK(by_card.add(as_photo(there), pose_of(there)));
        as_they_come.add(as_photo(there), pose);
    }
    CHECK(apart(by_card.mean(), frame) < 0.5 * apart(as_they_come.mean(), frame));
}

TEST_CASE("A camera that moved, or frames of another kind, begin anew") {
    const cv::Mat frame = live_frame();
    const CardLayout layout = sample_layout();
    FrameStack stack(layout);
    CHECK(stack.add(as_photo(frame), pose_of(frame)));
    CHECK(stack.add(as_photo(frame), pose_of(frame)));
    const cv::Mat there = moved(frame, 25, 0);
    CHECK_FALSE(stack.add(as_photo(there), pose_of(there)));
    CHECK(stack.frames() == 1);
    Photo linear = as_photo(there);
    linear.linear = true;
    CHECK_FALSE(stack.add(linear, pose_of(there)));
    CHECK(stack.frames() == 1);
    stack.clear();
    CHECK(stack.add(as_photo(frame), pose_of(frame)));
}

TEST_CASE("Linear frames of 16 bits keep theirs") {
    const cv::Mat frame = live_frame();
    const CardLayout layout = sample_layout();
    Photo deep = as_photo(frame);
    frame.convertTo(deep.bgr, CV_16U, 200);
    deep.linear = true;
    FrameStack stack(layout);
    for (int i = 0; i < 3; ++i) stack.add(deep, pose_of(frame));
    CHECK(cv::norm(stack.mean(), deep.bgr, cv::NORM_INF) <= 1);
}

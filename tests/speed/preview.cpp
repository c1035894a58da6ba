// Times what `bindhue shoot` does with each frame of 1080p, on one thread, in processor time: judging it, and adding it to the mean.
#include "live/preview.hpp"

#include <algorithm>
#include <cstdio>
#include <ctime>
#include <vector>

#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "live/frame_stack.hpp"

using namespace bindhue::capture;

namespace {

// Median and largest of some runs, milliseconds.
template <class F>
void time(const char* what, F run) {
    std::vector<double> times;
    for (int i = 0; i < 25; ++i) {
        const std::clock_t start = std::clock();
        run();
        times.push_back(1000.0 * static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC);
    }
    std::sort(times.begin(), times.end());
    std::printf("    %-58s %6.1f ms  %6.1f ms\n", what, times[times.size() / 2], times.back());
}

cv::Mat frame_of(const char* photo) {
    const cv::Mat whole = cv::imread(photo, cv::IMREAD_COLOR);
    cv::Mat out;
    if (!whole.empty()) cv::resize(whole(cv::Rect(0, 0, whole.cols, std::min(whole.rows, whole.cols * 9 / 16))), out, {1920, 1080}, 0, 0, cv::INTER_AREA);
    return out;
}

}  // namespace

int main(int argc, char** argv) {
    if (argc != 3) {
        std::fprintf(stderr, "speed_preview PHOTO LAYOUT: a photo that is good to measure, samples/photos/door.jpg with samples/card.json\n");
        return 2;
    }
    cv::setNumThreads(1);
    Photo frame, empty;
    frame.bgr = frame_of(argv[1]);
    const auto layout = load_card_layout(argv[2]);
    if (frame.bgr.empty() || !layout) {
        std::fprintf(stderr, "speed_preview: photo or layout can't be read\n");
        return 2;
    }
    empty.bgr = cv::Mat(frame.bgr.size(), CV_8UC3, cv::Scalar(90, 100, 110));
    cv::randu(empty.bgr, cv::Scalar::all(60), cv::Scalar::all(150));
    const Preview preview = look_at(frame, *layout);
    std::printf("    %-58s %9s  %9s\n", "1920 x 1080, one thread, processor time", "median", "worst");
    time("a good frame judged, the rod not looked for", [&] { (void)look_at(frame, *layout, RodCheck::no); });
    time("a good frame judged, with the rod (one in eight)", [&] { (void)look_at(frame, *layout); });
    time("a frame of noise judged, no card in it", [&] { (void)look_at(empty, *layout); });
    if (!preview.pose) return 1;
    FrameStack stack(*layout);
    time("a frame added to the mean, held still", [&] { stack.add(frame, *preview.pose); });
    CardPose moved = *preview.pose;
    moved.camera(0, 2) += 3;
    time("a frame added to the mean, laid on the first", [&] { stack.add(frame, moved); });
    return preview.good() ? 0 : 1;
}

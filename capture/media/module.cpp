// The library bindhue_media (media/media.hpp); no exception of OpenCV's leaves it.
#include <filesystem>

#include <opencv2/imgcodecs.hpp>
#include <opencv2/objdetect.hpp>
#include <opencv2/videoio.hpp>

#include "media/media.hpp"

namespace bindhue::capture {
namespace {

// The system's own interface, where there is one: others load every plug-in that they find before they say that there is no camera.
#ifdef __linux__
constexpr int camera_interface = cv::CAP_V4L2;
#else
constexpr int camera_interface = cv::CAP_ANY;
#endif

// What the call answers; nothing, false or null where OpenCV throws.
template <class Call>
auto or_nothing(Call call) -> decltype(call()) {
    try {
        return call();
    } catch (const cv::Exception&) {
        return {};
    }
}

class Video : public VideoInput {
  public:
    explicit Video(cv::VideoCapture capture) : capture_(std::move(capture)) {}

    bool read(cv::Mat& frame) override {
        return or_nothing([&] { return capture_.read(frame) && !frame.empty(); });
    }

  private:
    cv::VideoCapture capture_;
};

class OpenCvMedia : public Media {
  public:
    std::unique_ptr<VideoInput> open_camera(int number, int width, int height) const override {
        return or_nothing([&]() -> std::unique_ptr<VideoInput> {
            cv::VideoCapture capture(number, camera_interface);
            if (!capture.isOpened()) return nullptr;
            capture.set(cv::CAP_PROP_FRAME_WIDTH, width);
            capture.set(cv::CAP_PROP_FRAME_HEIGHT, height);
            capture.set(cv::CAP_PROP_CONVERT_RGB, 1);
            return std::make_unique<Video>(std::move(capture));
        });
    }

    std::unique_ptr<VideoInput> open_video(const std::string& path) const override {
        return or_nothing([&]() -> std::unique_ptr<VideoInput> {
            // An absolute path, so that no file's name passes for an address; and not by GStreamer, to which a name may be a program.
            cv::VideoCapture capture(std::filesystem::absolute(path).string(), cv::CAP_FFMPEG);
            if (!capture.isOpened()) return nullptr;
            return std::make_unique<Video>(std::move(capture));
        });
    }

    std::vector<std::uint8_t> encode(const std::string& ending, const cv::Mat& picture) const override {
        return or_nothing([&] {
            std::vector<std::uint8_t> bytes;
            const std::vector<int> how = ending == ".jpg" ? std::vector<int>{cv::IMWRITE_JPEG_QUALITY, 85} : std::vector<int>{};
            return cv::imencode(ending, picture, bytes, how) ? bytes : std::vector<std::uint8_t>{};
        });
    }

    cv::Mat qr_code(const std::string& text) const override {
        return or_nothing([&] {
            constexpr std::size_t longest = 100;  // OpenCV 4.6 crashes on much longer ones
            cv::Mat modules;
            if (text.size() <= longest) cv::QRCodeEncoder::create()->encode(text, modules);
            return modules;
        });
    }
};

}  // namespace
}  // namespace bindhue::capture

extern "C" [[gnu::visibility("default")]] const bindhue::capture::Media* bindhue_media() {
    static const bindhue::capture::OpenCvMedia media;
    return &media;
}

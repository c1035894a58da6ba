#include "live/frame_source.hpp"

#include <cstdio>
#include <filesystem>

#include "media/media.hpp"

namespace bindhue::capture {
namespace {

class Video : public FrameSource {
  public:
    Video(std::unique_ptr<VideoInput> input, std::string name) : input_(std::move(input)), name_(std::move(name)) {}

    Result<std::optional<Photo>> next() override {
        Photo frame;
        if (!input_->read(frame.bgr)) return std::optional<Photo>();
        if (frame.bgr.type() != CV_8UC3)
            return Error{Reason::bad_format, "The frames are not in colours of 8 bits.", name_, "Set the camera to an ordinary colour format."};
        frame.source = name_;
        return std::optional(std::move(frame));
    }

  private:
    std::unique_ptr<VideoInput> input_;
    std::string name_;
};

// A name with one number in it: what stands before and after, and how many digits at least.
struct Pattern {
    std::string before, after;
    int digits = 1;

    std::string at(int number) const {
        char text[16];
        std::snprintf(text, sizeof text, "%0*d", digits, number);
        return before + text + after;
    }
    // Not by printf with a text from a user.
    static std::optional<Pattern> of(const std::string& text) {
        const std::size_t percent = text.find('%');
        if (percent == std::string::npos || text.find('%', percent + 1) != std::string::npos) return std::nullopt;
        const std::size_t d = text.find_first_not_of("0123456789", percent + 1);
        if (d == std::string::npos || text[d] != 'd' || d - percent > 3) return std::nullopt;
        const std::string width = text.substr(percent + 1, d - percent - 1);
        if (!width.empty() && (width.size() != 2 || width[0] != '0' || width[1] == '0')) return std::nullopt;
        return Pattern{text.substr(0, percent), text.substr(d + 1), width.empty() ? 1 : width[1] - '0'};
    }
};

class Pictures : public FrameSource {
  public:
    Pictures(Pattern pattern, int first, bool linear) : pattern_(std::move(pattern)), number_(first), linear_(linear) {}

    Result<std::optional<Photo>> next() override {
        const std::string path = pattern_.at(number_++);
        std::error_code unseen;
        if (!std::filesystem::exists(path, unseen)) return std::optional<Photo>();
        Result<Photo> photo = load_photo(path, {linear_});
        if (!photo) return photo.error();
        return std::optional(std::move(*photo));
    }

  private:
    Pattern pattern_;
    int number_;
    bool linear_;
};

}  // namespace

Result<std::unique_ptr<FrameSource>> open_camera(int number, int width, int height) {
    const std::string name = "camera " + std::to_string(number);
    const Result<const Media*> part = media();
    if (!part) return part.error();
    if (auto input = (*part)->open_camera(number, width, height)) return std::unique_ptr<FrameSource>(new Video(std::move(input), name));
    return Error{Reason::not_found, "This camera can't be opened.", name, "Plug it in, close other programs that use it, or try another number; 0 is the first."};
}

Result<std::unique_ptr<FrameSource>> open_frames(const std::string& path, bool linear) {
    std::error_code unseen;
    if (path.find('%') != std::string::npos && !std::filesystem::exists(path, unseen)) {
        const auto pattern = Pattern::of(path);
        if (!pattern) return Error{Reason::bad_format, "The name of a sequence holds one number, written %d or as %04d.", path, "Name the pictures as shot-%04d.png does."};
        for (int first = 0; first < 10'000; ++first)
            if (std::filesystem::exists(pattern->at(first), unseen)) return std::unique_ptr<FrameSource>(new Pictures(*pattern, first, linear));
        return Error{Reason::not_found, "There is no picture of this sequence.", path, "Check the folder, and how many digits the numbers have."};
    }
    if (!std::filesystem::is_regular_file(path, unseen)) return Error{Reason::not_found, "There is no such file.", path, "Check the name."};
    const Error unreadable{Reason::bad_format, "This video can't be read.", path, "Give a video file that other programs play, or a sequence of pictures as shot-%04d.png."};
    if (linear) return Error{Reason::bad_value, "A video is never linear.", path, "Leave --linear out, or give a sequence of 16-bit pictures."};
    const Result<const Media*> part = media();
    if (!part) return part.error();
    auto input = (*part)->open_video(path);
    if (!input) return unreadable;
    return std::unique_ptr<FrameSource>(new Video(std::move(input), path));
}

}  // namespace bindhue::capture

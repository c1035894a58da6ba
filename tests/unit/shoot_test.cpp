#include "live/shoot.hpp"

#include <catch2/catch.hpp>

#include <opencv2/videoio.hpp>

#include "live/frame_source.hpp"
#include "support/live_frames.hpp"
#include "support/temporary_folder.hpp"

using namespace bindhue;
using namespace bindhue::capture;
using Catch::Matchers::Contains;

namespace {

class Scripted : public FrameSource {
  public:
    explicit Scripted(std::vector<cv::Mat> frames) : frames_(std::move(frames)) {}
    Result<std::optional<Photo>> next() override {
        if (at_ == frames_.size()) return std::optional<Photo>();
        return std::optional(as_photo(frames_[at_++]));
    }

  private:
    std::vector<cv::Mat> frames_;
    std::size_t at_ = 0;
};

ShootOptions wanting(std::size_t frames) { return {sample_layout(), frames, 600}; }

std::size_t frames_in(FrameSource& source) {
    std::size_t n = 0;
    for (auto frame = source.next(); frame && *frame; frame = source.next()) ++n;
    return n;
}

}  // namespace

TEST_CASE("A shot is the mean of good frames in a row, and a bad one in between begins anew") {
    const cv::Mat good = live_frame(), dark = brighter(good, 0.3);
    Scripted source({dark, good, good, dark, good, good, good, good});
    std::vector<std::size_t> counts;
    std::vector<std::string> faults;
    const auto shot = shoot(source, wanting(3), [&](const ShootProgress& p) {
        counts.push_back(p.good);
        faults.push_back(p.advice.empty() ? "" : std::string(name(p.advice[0].fault)));
    });
    REQUIRE(shot);
    CHECK(counts == std::vector<std::size_t>{0, 1, 2, 0, 1, 2, 3});
    CHECK(faults == std::vector<std::string>{"too-dark", "", "", "too-dark", "", "", ""});
    CHECK(shot->frames == 3);
    CHECK(shot->seen == 7);
    CHECK_FALSE(shot->linear);
}

TEST_CASE("A camera that moves is told to hold still") {
    const cv::Mat good = live_frame();
    Scripted source({good, moved(good, 30, 0), moved(good, 60, 0)});
    std::string fault;
    const auto shot = shoot(source, wanting(2), [&](const ShootProgress& p) { fault = p.advice.empty() ? "" : name(p.advice[0].fault); });
    REQUIRE_FALSE(shot);
    CHECK(fault == "moving");
    CHECK(shot.error().reason == Reason::cannot_measure);
    CHECK_THAT(shot.error().what, Contains("the camera moved"));
}

TEST_CASE("When there is no good frame before the end, the last reasons are told") {
    const cv::Mat dark = brighter(live_frame(), 0.3);
    Scripted source({dark, dark});
    const auto shot = shoot(source, wanting(2));
    REQUIRE_FALSE(shot);
    CHECK(shot.error().reason == Reason::cannot_measure);
    CHECK_THAT(shot.error().what, Contains("the source ended after 2 frames") && Contains("too dark"));
    CHECK_THAT(shot.error().mend, Contains("more light"));
    Scripted late({dark, dark, dark});
    ShootOptions no_time = wanting(2);
    no_time.timeout_s = 0;
    const auto timed = shoot(late, no_time);
    REQUIRE_FALSE(timed);
    CHECK_THAT(timed.error().what, Contains("time was up after 1 frames"));
    Scripted nothing({});
    CHECK(shoot(nothing, wanting(1)).error().reason == Reason::bad_format);
}

TEST_CASE("A sequence is read from its first number to the first gap, and a broken picture is refused with its name") {
    const TemporaryFolder folder;
    const cv::Mat picture(20, 30, CV_8UC3, cv::Scalar(1, 2, 3));
    for (const char* name : {"a-007.png", "a-008.png", "a-010.png"}) REQUIRE(cv::imwrite((folder.path / name).string(), picture));
    auto source = open_frames((folder.path / "a-%03d.png").string(), false);
    REQUIRE(source);
    CHECK(frames_in(**source) == 2);
    std::ofstream(folder.path / "b1.png") << "no picture";
    auto broken = open_frames((folder.path / "b%d.png").string(), false);
    REQUIRE(broken);
    const auto frame = (*broken)->next();
    REQUIRE_FALSE(frame);
    CHECK_THAT(frame.error().where, Contains("b1.png"));
    for (const char* name : {"a-%s.png", "a-%03d-%03d.png", "%n.png", "a-%30d.png", "a-%"}) {
        const auto none = open_frames((folder.path / name).string(), false);
        REQUIRE_FALSE(none);
        CHECK(none.error().reason == Reason::bad_format);
    }
    CHECK(open_frames((folder.path / "c%d.png").string(), false).error().reason == Reason::not_found);
    CHECK(open_frames("http://127.0.0.1:9/a.mp4", false).error().reason == Reason::not_found);
    CHECK(open_frames(folder.path.string(), false).error().reason == Reason::not_found);
}

TEST_CASE("A video is read to its end, one that is cut off as far as it goes, and a file that is none is refused") {
    const TemporaryFolder folder;
    const auto path = folder.path / "v.avi";
    const cv::Mat frame = live_frame();
    {
        cv::VideoWriter writer(path.string(), cv::CAP_OPENCV_MJPEG, cv::VideoWriter::fourcc('M', 'J', 'P', 'G'), 25, frame.size());
        REQUIRE(writer.isOpened());
        for (int i = 0; i < 6; ++i) writer.write(frame);
    }
    auto whole = open_frames(path.string(), false);
    REQUIRE(whole);
    CHECK(frames_in(**whole) == 6);
    for (const double share : {0.5, 0.02, 0.0}) {
        const auto cut = folder.path / "cut.avi";
        std::filesystem::copy_file(path, cut, std::filesystem::copy_options::overwrite_existing);
        std::filesystem::resize_file(cut, static_cast<std::uintmax_t>(share * static_cast<double>(std::filesystem::file_size(path))));
        auto source = open_frames(cut.string(), false);
        if (!source) {
            CHECK(source.error().reason == Reason::bad_format);
            continue;
        }
        const auto shot = shoot(**source, wanting(6));
        REQUIRE_FALSE(shot);
        CHECK_FALSE(shot.error().mend.empty());
    }
    std::ofstream(folder.path / "text.mp4") << "no video at all";
    const auto none = open_frames((folder.path / "text.mp4").string(), false);
    REQUIRE_FALSE(none);
    CHECK(none.error().reason == Reason::bad_format);
    CHECK(open_frames(path.string(), true).error().reason == Reason::bad_value);
    const auto camera = open_camera(98, 640, 480);
    REQUIRE_FALSE(camera);
    CHECK(camera.error().reason == Reason::not_found);
}

TEST_CASE("A shot is kept as 16 bits, PNG or TIFF by its name") {
    const TemporaryFolder folder;
    Shot shot{cv::Mat(20, 30, CV_16UC3, cv::Scalar(1000, 2000, 30001)), false, 1, 1};
    for (const char* name : {"a.png", "a.tiff"}) {
        REQUIRE(save_shot(shot, (folder.path / name).string()));
        const auto back = load_photo(folder.path / name);
        REQUIRE(back);
        CHECK(cv::norm(back->bgr, shot.picture, cv::NORM_INF) == 0);
    }
    CHECK(save_shot(shot, (folder.path / "a.jpg").string()).error().reason == Reason::bad_value);
    CHECK(save_shot(shot, "/nowhere/at/all/a.png").error().reason == Reason::storage);
}

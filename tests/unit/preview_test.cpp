#include "live/preview.hpp"

#include <catch2/catch.hpp>

#include "support/live_frames.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

const CardPose& true_pose() {
    static const CardPose pose = *find_card(as_photo(live_frame()), sample_layout());
    return pose;
}

cv::Point on_card(double x_mm, double y_mm) { return true_pose().project({x_mm, y_mm, 0}); }

// The faults found, by name.
std::vector<std::string> faults(const cv::Mat& frame) {
    std::vector<std::string> out;
    for (const Advice& a : look_at(as_photo(frame), sample_layout()).advice) {
        CHECK_FALSE(a.what.empty());
        CHECK_FALSE(a.mend.empty());
        out.emplace_back(name(a.fault));
    }
    return out;
}

using Names = std::vector<std::string>;

}  // namespace

TEST_CASE("A good frame needs no advice, and tells where the card is in its own pixels") {
    const Preview preview = look_at(as_photo(live_frame()), sample_layout());
    for (const Advice& a : preview.advice) UNSCOPED_INFO(a.what);
    REQUIRE(preview.good());
    CHECK(preview.pose->px_per_mm == Approx(true_pose().px_per_mm).epsilon(0.01));
    for (const double x : {0.0, 160.0})
        for (const double y : {0.0, 110.0}) CHECK(cv::norm(preview.pose->project({x, y, 0}) - true_pose().project({x, y, 0})) < 1.5);
}

TEST_CASE("Each thing that spoils a frame is told, and how to mend it") {
    const cv::Mat good = live_frame();
    CHECK(faults(cv::Mat(good.size(), CV_8UC3, cv::Scalar(90, 100, 110))) == Names{"no-card"});
    CHECK(faults(brighter(good, 0.3)) == Names{"too-dark"});
    CHECK(faults(brighter(good, 1.6)) == Names{"too-bright"});

    cv::Mat far = cv::Mat(good.size(), CV_8UC3, cv::Scalar(90, 100, 110)), small;
    cv::resize(good, small, {}, 0.6, 0.6, cv::INTER_AREA);
    small.copyTo(far(cv::Rect(100, 100, small.cols, small.rows)));
    CHECK(faults(far).front() == "too-far");

    cv::Mat soft;
    cv::GaussianBlur(good, soft, {}, 3.0);
    CHECK(faults(soft) == Names{"not-sharp"});

    // A lamp mirrored in C5, a grey step above the opening.
    cv::Mat shining = good.clone();
    const CardRect step = sample_layout().patch("C5")->rect;
    for (double x = step.x_mm; x < step.right_mm(); x += 0.05)
        for (double y = step.y_mm; y < step.bottom_mm(); y += 0.05) {
            auto& v = shining.at<cv::Vec3b>(on_card(x, y));
            if (v[1] < 235) v = cv::Vec3b(240, 240, 240);
        }
    CHECK(faults(shining) == Names{"glare"});

    // Darker by more than half from one side to the other, in linear light.
    cv::Mat uneven = good.clone();
    for (int y = 0; y < uneven.rows; ++y)
        for (int x = 0; x < uneven.cols; ++x) {
            auto& v = uneven.at<cv::Vec3b>(y, x);
            const double share = std::pow(0.3 + 0.7 * x / uneven.cols, 1 / 2.2);
            for (int c = 0; c < 3; ++c) v[c] = cv::saturate_cast<uchar>(v[c] * share);
        }
    const Names dim = faults(uneven);
    REQUIRE_FALSE(dim.empty());
    CHECK(std::find(dim.begin(), dim.end(), "uneven") != dim.end());

    // The opening empty: the bench shows.
    cv::Mat empty = good.clone();
    const std::vector<cv::Point> opening{on_card(19.5, 37.6), on_card(140.5, 37.6), on_card(140.5, 72.4), on_card(19.5, 72.4)};
    cv::fillConvexPoly(empty, opening, cv::Scalar(80, 95, 105));
    CHECK(faults(empty) == Names{"no-rod"});

    // Leaning: its upper side farther off.
    const float w = static_cast<float>(good.cols), h = static_cast<float>(good.rows);
    const std::array<cv::Point2f, 4> flat{{{0, 0}, {w, 0}, {w, h}, {0, h}}}, leaning{{{0.12F * w, 0.16F * h}, {0.88F * w, 0.16F * h}, {w, 0.9F * h}, {0, 0.9F * h}}};
    cv::Mat tilted;
    cv::warpPerspective(good, tilted, cv::getPerspectiveTransform(flat.data(), leaning.data()), good.size(), cv::INTER_AREA, cv::BORDER_CONSTANT, cv::Scalar(90, 100, 110));
    CHECK(faults(tilted).front() == "tilted");
}

TEST_CASE("A card without an opening asks for no rod") {
    CardLayout layout = sample_layout();
    layout.opening.reset();
    cv::Mat frame = live_frame();
    cv::fillConvexPoly(frame, std::vector<cv::Point>{on_card(19.5, 37.6), on_card(140.5, 37.6), on_card(140.5, 72.4), on_card(19.5, 72.4)}, cv::Scalar(80, 95, 105));
    CHECK(look_at(as_photo(frame), layout).good());
}

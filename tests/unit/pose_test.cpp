#include "card/pose.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include <opencv2/imgproc.hpp>

#include "support/sample.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

Photo sample(const std::string& file, bool linear = false) {
    const auto photo = load_photo(samples / "photos" / file, {linear});
    REQUIRE(photo);
    return *photo;
}

// The truth has pixel centres at halves, the tool at whole numbers.
CardCorners true_corners(const std::string& name) {
    const auto truth = sample_truth(name);
    CardCorners out;
    for (std::size_t i = 0; i < 4; ++i) {
        const auto& c = truth["card_corners_px"][i];
        out[i] = {c[0].get<double>() - 0.5, c[1].get<double>() - 0.5};
    }
    return out;
}

double farthest(const CardPose& pose, const CardLayout& layout, const CardCorners& corners) {
    const double w = layout.width_mm, h = layout.height_mm;
    const std::array<CardSpace, 4> places{{{0, 0, 0}, {w, 0, 0}, {w, h, 0}, {0, h, 0}}};
    double out = 0;
    for (std::size_t i = 0; i < 4; ++i) out = std::max(out, cv::norm(pose.project(places[i]) - corners[i]));
    return out;
}

void cannot_measure(const Result<CardPose>& pose) {
    REQUIRE_FALSE(pose);
    CHECK(pose.error().reason == Reason::cannot_measure);
    CHECK_FALSE(pose.error().what.empty());
    CHECK_FALSE(pose.error().mend.empty());
}

}  // namespace

TEST_CASE("The card's corners are found to half a pixel or so, and its scale to one percent") {
    const CardLayout layout = sample_layout();
    for (const auto& [name, ending] : {std::pair{"door", ".jpg"},
                                       {"cane", ".jpg"},
                                       {"dusk", ".jpg"},
                                       {"noon", ".png"},
                                       {"navy", ".png"}}) {
        INFO(name);
        const bool linear = std::string(ending) == ".png";
        const auto pose = find_card(sample(name + std::string(ending), linear), layout);
        REQUIRE(pose);
        CHECK(pose->markers_found == 6);
        CHECK(farthest(*pose, layout, true_corners(name)) < 0.7);
        CHECK(pose->px_per_mm == Approx(sample_truth(name)["px_per_mm"].get<double>()).epsilon(0.03));
    }
}

TEST_CASE("Four corners given by hand do for a card without fiducials") {
    CardLayout layout = sample_layout();
    layout.markers.clear();
    const Photo photo = sample("door.jpg");
    cannot_measure(find_card(photo, layout));
    const auto pose = find_card(photo, layout, true_corners("door"));
    REQUIRE(pose);
    CHECK(farthest(*pose, layout, true_corners("door")) < 1.5);
    const auto by_fiducials = find_card(photo, sample_layout());
    REQUIRE(by_fiducials);
    const CardSpace middle{80, 55, 0};
    CHECK(cv::norm(pose->project(middle) - by_fiducials->project(middle)) < 4);
}

TEST_CASE("Corners in the wrong order are refused") {
    CardCorners corners = true_corners("door");
    std::swap(corners[1], corners[3]);
    cannot_measure(find_card(sample("door.jpg"), sample_layout(), corners));
}

TEST_CASE("A card with one fiducial covered is found as well") {
    const CardLayout layout = sample_layout();
    Photo photo = sample("door.jpg");
    const auto whole = find_card(photo, layout);
    REQUIRE(whole);
    const CardRect& r = layout.markers[1].rect;
    const cv::Point2d middle = whole->project({r.centre().x_mm, r.centre().y_mm, 0});
    cv::circle(photo.bgr, middle, static_cast<int>(8 * whole->px_per_mm), {120, 150, 180}, cv::FILLED);
    const auto pose = find_card(photo, layout);
    REQUIRE(pose);
    CHECK(pose->markers_found == 5);
    CHECK(farthest(*pose, layout, true_corners("door")) < 1.0);
}

TEST_CASE("A mirrored picture is refused") {
    Photo photo = sample("door.jpg");
    cv::flip(photo.bgr, photo.bgr, 1);
    cannot_measure(find_card(photo, sample_layout()));
}

TEST_CASE("No card, and a card too small in the picture, are refused") {
    cannot_measure(find_card(sample("nocard.jpg"), sample_layout()));
    Photo photo = sample("door.jpg");
    cv::resize(photo.bgr, photo.bgr, {}, 0.22, 0.22, cv::INTER_AREA);
    cannot_measure(find_card(photo, sample_layout()));
}

#include "card/sharpness.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include <opencv2/imgproc.hpp>

#include "plain_fit.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

constexpr double px_per_mm = 9;

// Straight from above; the card's corner is the middle of the picture's first pixel.
CardPose from_above() {
    CardPose pose;
    const double distance = 300, focal = px_per_mm * distance;
    pose.camera = {focal, 0, 0, 0, focal, 0, 0, 0, 1};
    pose.rotation = cv::Matx33d::eye();
    pose.translation = {0, 0, distance};
    pose.px_per_mm = px_per_mm;
    return pose;
}

CardLayout two_markers() {
    CardLayout layout;
    layout.width_mm = 60, layout.height_mm = 24;
    for (const int id : {0, 1}) {
        CardMarker marker;
        marker.id = id;
        marker.rect = {4.03 + 30 * id, 5.07, 13, 13};
        layout.markers.push_back(marker);
    }
    return layout;
}

// Black squares on white, each pixel the mean over its area of what a Gaussian lens has blurred.
Photo blurred(const CardLayout& layout, double sigma_px, int fine = 8) {
    const int width = static_cast<int>(layout.width_mm * px_per_mm),
              height = static_cast<int>(layout.height_mm * px_per_mm);
    cv::Mat large(height * fine, width * fine, CV_32FC3, cv::Scalar(0.8, 0.8, 0.8));
    const auto at = [&](double mm) { return static_cast<int>(std::lround((mm * px_per_mm + 0.5) * fine)); };
    for (const CardMarker& m : layout.markers)
        large(cv::Range(at(m.rect.y_mm), at(m.rect.bottom_mm())),
              cv::Range(at(m.rect.x_mm), at(m.rect.right_mm())))
            .setTo(cv::Scalar(0.03, 0.03, 0.03));
    cv::GaussianBlur(large, large, {0, 0}, sigma_px * fine);
    Photo photo;
    cv::resize(large, large, {width, height}, 0, 0, cv::INTER_AREA);
    large.convertTo(photo.bgr, CV_16UC3, 65535);
    photo.linear = true;
    return photo;
}

}  // namespace

TEST_CASE("The blur of an edge is found to a tenth of a pixel") {
    const CardLayout layout = two_markers();
    for (const double sigma : {0.6, 0.9, 1.3, 2.0}) {
        INFO("sigma " << sigma);
        const auto found = blur_of_edges(blurred(layout, sigma), layout, from_above(), plain_fit());
        REQUIRE(found);
        // A pixel's own area (1/12) and linear sampling between pixels (1/6) blur too.
        CHECK(*found == Approx(std::sqrt(sigma * sigma + 1.0 / 12 + 1.0 / 6)).margin(0.1));
    }
}

TEST_CASE("A card without fiducials, or out of the picture, tells no blur") {
    CardLayout layout = two_markers();
    const Photo photo = blurred(layout, 1);
    CardPose aside = from_above();
    aside.translation[0] = -1000;
    CHECK_FALSE(blur_of_edges(photo, layout, aside, plain_fit()));
    layout.markers.clear();
    CHECK_FALSE(blur_of_edges(photo, layout, from_above(), plain_fit()));
}

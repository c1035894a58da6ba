#include "sheet/reading_picture.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include <opencv2/imgcodecs.hpp>

#include "support/temporary_folder.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

// A dark photo, 3200 pixels wide, of two bands of equal length.
WrapReading two_bands() {
    WrapReading out;
    out.picture = cv::Mat(2000, 3200, CV_8UC3, cv::Scalar(40, 40, 40));
    out.blank_diameter_mm = 8;
    const auto band = [](double start, double x, const Lab<D50>& lab, BandRole role) {
        BandReading b;
        b.start_mm = start;
        b.length_mm = 20;
        b.role = role;
        b.colour.lab = lab;
        b.outline = {{x, 900}, {x + 800, 900}, {x + 800, 1100}, {x, 1100}};
        return b;
    };
    out.bands = {band(10, 800, {50, 60, 30}, BandRole::wrap), band(30, 1600, {50, 0, -40}, BandRole::trim)};
    out.card.outline = {{200, 200}, {3000, 200}, {3000, 1800}, {200, 1800}};
    return out;
}

}  // namespace

TEST_CASE("The picture shows the photo, and each band in its colour on a strip to scale") {
    const TemporaryFolder folder;
    const auto path = folder.path / "found.png";
    REQUIRE(write_reading_picture(two_bands(), path));
    const cv::Mat picture = cv::imread(path.string());
    REQUIRE(picture.cols == 1600);
    REQUIRE(picture.rows == 1000 + 250);
    CHECK(picture.at<cv::Vec3b>(300, 800) == cv::Vec3b(40, 40, 40));
    // The outline of the card is drawn: white on black, unlike the photo.
    CHECK(cv::norm(picture.at<cv::Vec3b>(500, 100), cv::Vec3b(40, 40, 40), cv::NORM_INF) > 50);
    // Below: neutral L* 50, and in the middle of each half of the strip its band's colour.
    const cv::Vec3b surround = picture.at<cv::Vec3b>(1010, 10), red = picture.at<cv::Vec3b>(1094, 300),
                    blue = picture.at<cv::Vec3b>(1094, 1300);
    CHECK(surround == cv::Vec3b(119, 119, 119));
    CHECK(red[2] > red[1] + 80);
    CHECK(red[2] > red[0] + 80);
    CHECK(blue[0] > blue[2] + 60);
    // Both are 20 mm long: the border is in the middle.
    CHECK(picture.at<cv::Vec3b>(1094, 790)[2] == red[2]);
    CHECK(picture.at<cv::Vec3b>(1094, 810)[0] == blue[0]);
}

TEST_CASE("A picture that can't be written is an error of storage") {
    const Status written = write_reading_picture(two_bands(), "/nowhere/at/all/found.png");
    REQUIRE_FALSE(written);
    CHECK(written.error().reason == Reason::storage);
    CHECK_FALSE(written.error().mend.empty());
}

#include "wrap/outline.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "plain_fit.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

constexpr double px_per_mm = 9, lens_x = 80, lens_y = 48, lens_mm = 300;
constexpr CardRect opening{20, 38, 120, 34};

CardPose from_above() {
    CardPose pose;
    const double focal = px_per_mm * lens_mm;
    pose.camera = {focal, 0, lens_x * px_per_mm, 0, focal, lens_y * px_per_mm, 0, 0, 1};
    pose.rotation = cv::Matx33d::eye();
    pose.translation = {-lens_x, -lens_y, lens_mm};
    pose.px_per_mm = px_per_mm;
    return pose;
}

CardLayout layout() {
    CardLayout out;
    out.width_mm = 160, out.height_mm = 110;
    out.opening = opening;
    return out;
}

// A matt rod over a grey bench, lit from straight above, its blank's top line level with the card; two wraps stand out by so much. A pixel shows the rod where the ray to it
// comes nearer to the axis than the radius there.
constexpr double axis_y = 56, blank_radius = 4.2;
const std::vector<Segment> wraps{{15, 45}, {70, 95}}, bare{{0, 15}, {45, 70}, {95, 120}};
Photo rod_photo(double stands_out) {
    cv::Mat linear(110 * static_cast<int>(px_per_mm), 160 * static_cast<int>(px_per_mm), CV_32FC3, cv::Scalar(0.8, 0.8, 0.8));
    for (int r = 0; r < linear.rows; ++r)
        for (int c = 0; c < linear.cols; ++c) {
            const double x = c / px_per_mm, y = r / px_per_mm, s = x - opening.x_mm;
            if (s < 0 || s > opening.width_mm || y < opening.y_mm || y > opening.bottom_mm()) continue;
            double radius = blank_radius;
            cv::Vec3f body(0.05F, 0.06F, 0.10F);  // blue first
            for (const Segment& w : wraps)
                if (s >= w.begin_mm && s < w.end_mm) {
                    radius += stands_out;
                    body = w.begin_mm < 50 ? cv::Vec3f(0.08F, 0.10F, 0.42F) : cv::Vec3f(0.50F, 0.55F, 0.20F);
                }
            const double across = axis_y - lens_y, above = lens_mm + blank_radius, ray = std::hypot(y - lens_y, lens_mm);
            const double off = std::abs(across * lens_mm - above * (y - lens_y)) / ray / radius;
            linear.at<cv::Vec3f>(r, c) = off < 1 ? body * static_cast<float>(0.15 + 0.85 * std::sqrt(1 - off * off)) : cv::Vec3f(0.25F, 0.25F, 0.25F);
        }
    Photo photo;
    linear.convertTo(photo.bgr, CV_16UC3, 65535);
    photo.linear = true;
    return photo;
}

}  // namespace

TEST_CASE("A rod is found in the opening where it was painted") {
    const Result<Rod> rod = find_rod(rod_photo(0), layout(), from_above(), plain_fit());
    REQUIRE(rod);
    CHECK(2 * rod->radius_at(60) == Approx(2 * blank_radius).epsilon(0.02));
    CHECK(rod->radius_slope == Approx(0).margin(0.002));
    for (const double s : {5.0, 115.0}) CHECK(rod->top(s).y_mm == Approx(axis_y).margin(0.15));
}

TEST_CASE("Where wraps stand out, the blank's diameter is told over bare blank") {
    const double stands_out = GENERATE(0.0, 0.3, 0.6);
    const Photo photo = rod_photo(stands_out);
    const Result<Rod> rod = find_rod(photo, layout(), from_above(), plain_fit());
    REQUIRE(rod);
    INFO("they stand out by " << stands_out << " mm");
    const std::optional<Rod> blank = bare_rod(bare, photo, opening, from_above(), plain_fit(), *rod);
    REQUIRE(blank);
    CHECK(2 * blank->radius_at(60) == Approx(2 * blank_radius).epsilon(0.02));
}

TEST_CASE("Too short a run of bare blank tells no diameter") {
    const Photo photo = rod_photo(0.3);
    const Result<Rod> rod = find_rod(photo, layout(), from_above(), plain_fit());
    REQUIRE(rod);
    CHECK_FALSE(bare_rod({{95, 101}}, photo, opening, from_above(), plain_fit(), *rod));
    CHECK_FALSE(bare_rod({}, photo, opening, from_above(), plain_fit(), *rod));
}

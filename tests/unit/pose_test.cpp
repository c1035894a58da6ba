#include "card/pose.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include <opencv2/imgproc.hpp>

#include "support/flat_card.hpp"
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

TEST_CASE("A mirrored picture is refused for that") {
    Photo photo = sample("door.jpg");
    cv::flip(photo.bgr, photo.bgr, 1);
    const auto pose = find_card(photo, sample_layout());
    cannot_measure(pose);
    CHECK(pose.error().what.find("mirrored") != std::string::npos);
}

TEST_CASE("No card, and a card too small in the picture, are refused") {
    const auto none = find_card(sample("nocard.jpg"), sample_layout());
    cannot_measure(none);
    CHECK(none.error().what == "no calibration card was found");
    Photo photo = sample("door.jpg");
    cv::resize(photo.bgr, photo.bgr, {}, 0.22, 0.22, cv::INTER_AREA);
    cannot_measure(find_card(photo, sample_layout()));
}

TEST_CASE("Of a card with one fiducial in sight the refusal says which is wrong: covered, or too far") {
    const CardLayout layout = sample_layout();
    Photo photo = sample("door.jpg");
    const auto whole = find_card(photo, layout);
    REQUIRE(whole);
    for (std::size_t i = 1; i < layout.markers.size(); ++i) {
        const CardRect& r = layout.markers[i].rect;
        cv::circle(photo.bgr, whole->project({r.centre().x_mm, r.centre().y_mm, 0}), static_cast<int>(8 * whole->px_per_mm), {120, 150, 180}, cv::FILLED);
    }
    const auto covered = find_card(photo, layout);
    REQUIRE_FALSE(covered);
    CHECK(covered.error().what.find("only one") != std::string::npos);
    cv::resize(photo.bgr, photo.bgr, {}, 2.8 / whole->px_per_mm, 2.8 / whole->px_per_mm, cv::INTER_AREA);
    const auto far = find_card(photo, layout);
    REQUIRE_FALSE(far);
    CHECK(far.error().reason == Reason::cannot_measure);
    CHECK(far.error().what.find("too small in the picture (2.") != std::string::npos);
}

TEST_CASE("The card is found whichever way it is turned, and tilted to 30 degrees towards any side") {
    const CardLayout layout = bench_card();
    for (const double tilt : {0.0, 30.0})
        for (double turned = 0; turned < 360; turned += 45) {
            const double towards = 3 * turned + 20;
            const FlatShot shot = shoot(
                layout,
                {.px_per_mm = 7.5, .tilt_deg = tilt, .tilt_towards_deg = towards, .turned_deg = turned});
            INFO("turned by " << turned << ", tilted by " << tilt << " towards " << towards);
            const auto pose = find_card(shot.photo, layout);
            REQUIRE(pose);
            CHECK(pose->markers_found == 6);
            CHECK(farthest(*pose, layout, shot.corners) < 0.5);
            CHECK(pose->tilt_deg == Approx(tilt).margin(2.5));
        }
}

TEST_CASE("The card is found small in the picture, down to the 3 px/mm that its patches need") {
    const CardLayout layout = bench_card();
    for (const cv::Size size : {cv::Size(1000, 750), cv::Size(3000, 2250), cv::Size(8000, 6000)})
        for (const double px_per_mm : {3.2, 4.5}) {
            const FlatShot shot = shoot(layout, {.size = size,
                                                 .px_per_mm = px_per_mm,
                                                 .tilt_deg = 8,
                                                 .turned_deg = 20,
                                                 .focal_px = 1.2 * size.width,
                                                 .shift_px = {0.03 * size.width, -0.01 * size.height}});
            INFO(size.width << " pixels wide, " << px_per_mm << " px/mm");
            const auto pose = find_card(shot.photo, layout);
            REQUIRE(pose);
            CHECK(farthest(*pose, layout, shot.corners) < 0.5);
        }
}

TEST_CASE("A card with a quarter of it covered is found") {
    const CardLayout layout = bench_card();
    for (const double turned : {0.0, 110.0})
        for (const CardRect hidden : {CardRect{0, 0, 80, 55},
                                      {80, 0, 80, 55},
                                      {80, 55, 80, 55},
                                      {0, 55, 80, 55},
                                      {0, 0, 160, 27},
                                      {0, 83, 160, 27},
                                      {40, 0, 40, 110}}) {
            FlatShot shot =
                shoot(layout, {.px_per_mm = 8, .tilt_deg = 12, .tilt_towards_deg = 40, .turned_deg = turned});
            std::vector<cv::Point> outline;
            for (const auto& [x, y] : {std::pair{hidden.x_mm, hidden.y_mm},
                                       {hidden.right_mm(), hidden.y_mm},
                                       {hidden.right_mm(), hidden.bottom_mm()},
                                       {hidden.x_mm, hidden.bottom_mm()}})
                outline.emplace_back(shot.pixel(x, y));
            cv::fillConvexPoly(shot.photo.bgr, outline, {60, 70, 90});
            INFO("turned by " << turned << ", hidden from " << hidden.x_mm << ", " << hidden.y_mm << " to "
                              << hidden.right_mm() << ", " << hidden.bottom_mm());
            const auto pose = find_card(shot.photo, layout);
            REQUIRE(pose);
            CHECK(farthest(*pose, layout, shot.corners) < 1.0);
        }
}

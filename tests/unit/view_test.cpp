#include "card/view.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>

#include <opencv2/imgproc.hpp>

#include "support/sample.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

struct Seen {
    Photo photo;
    CardLayout layout;
    CardPose pose;
};

Seen door() {
    const auto photo = load_photo(samples / "photos/door.jpg");
    REQUIRE(photo);
    const CardLayout layout = sample_layout();
    const auto pose = find_card(*photo, layout);
    REQUIRE(pose);
    return {*photo, layout, *pose};
}

void fill(Seen& seen, const CardRect& r, const cv::Scalar& colour) {
    std::vector<cv::Point> outline;
    for (const CardSpace corner : {CardSpace{r.x_mm, r.y_mm, 0},
                                   {r.right_mm(), r.y_mm, 0},
                                   {r.right_mm(), r.bottom_mm(), 0},
                                   {r.x_mm, r.bottom_mm(), 0}})
        outline.emplace_back(seen.pose.project(corner));
    cv::fillConvexPoly(seen.photo.bgr, outline, colour);
}

const PatchSample* find(const CardView& view, const std::string& id) {
    const auto at = std::find_if(view.patches.begin(), view.patches.end(),
                                 [&](const PatchSample& p) { return p.id == id; });
    return at == view.patches.end() ? nullptr : &*at;
}

}  // namespace

TEST_CASE("The response between pixels is their mixture, red first, and there is none outside the picture") {
    Photo photo;
    photo.bgr = cv::Mat(2, 2, CV_8UC3);
    photo.bgr.at<cv::Vec3b>(0, 0) = {0, 0, 0};
    photo.bgr.at<cv::Vec3b>(0, 1) = {255, 0, 0};
    photo.bgr.at<cv::Vec3b>(1, 0) = {0, 0, 255};
    photo.bgr.at<cv::Vec3b>(1, 1) = {0, 255, 0};
    const Vector3 v = response_at(photo, {0.25, 0.5});
    CHECK(v[0] == Approx(0.5 * 0.75));
    CHECK(v[1] == Approx(0.5 * 0.25));
    CHECK(v[2] == Approx(0.5 * 0.25));
    for (const cv::Point2d outside : {cv::Point2d{-0.1, 0}, {0, 1.5}, {1e300, 0}, {std::nan(""), 0}})
        CHECK(std::isnan(response_at(photo, outside)[0]));
}

TEST_CASE("A patch painted over reads as the paint, and its neighbours as before") {
    Seen seen = door();
    const auto before = sample_card(seen.photo, seen.layout, seen.pose);
    REQUIRE(before);
    CHECK(before->patches.size() == seen.layout.patches.size());
    const CardPatch& patch = seen.layout.patches[20];
    fill(seen, patch.rect, {51, 102, 153});
    const auto after = sample_card(seen.photo, seen.layout, seen.pose);
    REQUIRE(after);
    const PatchSample* painted = find(*after, patch.id);
    REQUIRE(painted);
    CHECK(painted->rgb[0] == Approx(0.6).margin(0.003));
    CHECK(painted->rgb[1] == Approx(0.4).margin(0.003));
    CHECK(painted->rgb[2] == Approx(0.2).margin(0.003));
    CHECK_FALSE(painted->clipped);
    for (std::size_t i = 0; i < before->patches.size(); ++i)
        if (before->patches[i].id != patch.id)
            for (std::size_t k = 0; k < 3; ++k) CHECK(before->patches[i].rgb[k] == after->patches[i].rgb[k]);
}

TEST_CASE(
    "A little dirt does not move a patch, half of it covered leaves it out, and white light on it marks it") {
    Seen seen = door();
    const auto clean = sample_card(seen.photo, seen.layout, seen.pose);
    REQUIRE(clean);
    const CardPatch &dirty = seen.layout.patches[20], &covered = seen.layout.patches[26],
                    &lit = seen.layout.patches[40];
    const CardRect d = dirty.rect, c = covered.rect;
    fill(seen, {d.centre().x_mm - 0.6, d.centre().y_mm - 0.6, 1.2, 1.2}, {0, 0, 0});
    fill(seen, {c.x_mm, c.y_mm, 0.42 * c.width_mm, c.height_mm}, {0, 0, 0});
    fill(seen, lit.rect, {255, 255, 255});
    const auto view = sample_card(seen.photo, seen.layout, seen.pose);
    REQUIRE(view);
    REQUIRE(find(*view, dirty.id));
    for (std::size_t k = 0; k < 3; ++k)
        CHECK(find(*view, dirty.id)->rgb[k] == Approx(find(*clean, dirty.id)->rgb[k]).margin(0.01));
    CHECK(find(*view, covered.id) == nullptr);
    CHECK(std::any_of(view->notes.begin(), view->notes.end(),
                      [&](const std::string& n) { return n.find(covered.id) != std::string::npos; }));
    REQUIRE(find(*view, lit.id));
    CHECK(find(*view, lit.id)->clipped);
}

TEST_CASE("A card whose whites are all blown out is refused, and one that is nearly all out of sight") {
    Seen seen = door();
    for (const CardPatch& p : seen.layout.patches)
        if (p.role == PatchRole::grey && p.lab.L > 90) fill(seen, p.rect, {255, 255, 255});
    const auto burnt = sample_card(seen.photo, seen.layout, seen.pose);
    REQUIRE_FALSE(burnt);
    CHECK(burnt.error().reason == Reason::cannot_measure);
    CHECK_THAT(burnt.error().what, Catch::Contains("blown out"));

    Seen half = door();
    half.photo.bgr = half.photo.bgr(cv::Rect(0, 0, 300, half.photo.bgr.rows)).clone();
    const auto cut = sample_card(half.photo, half.layout, half.pose);
    REQUIRE_FALSE(cut);
    CHECK(cut.error().reason == Reason::cannot_measure);
}

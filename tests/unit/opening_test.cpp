#include "wrap/opening.hpp"

#include <catch2/catch.hpp>

#include "painted_rod.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

// Dark above, light below, over so many millimetres.
OpeningImage picture(double fades_over_mm) {
    OpeningImage out;
    out.px_per_mm = 8;
    out.look.create(160, 400, CV_32FC3);
    for (int r = 0; r < out.look.rows; ++r) {
        const double mm = (r + 0.5 - 80) / out.px_per_mm, light = std::clamp(0.5 + mm / fades_over_mm, 0.0, 1.0);
        out.look.row(r) = cv::Scalar::all(0.3 + 0.4 * light);
    }
    return out;
}

}  // namespace

TEST_CASE("A line across which the picture changes at once is told from one beside which it fades") {
    const Line middle{79.5, 0, 1};
    CHECK(share_at_once(picture(0.2), middle) == Approx(1).margin(0.01));
    const double fading = share_at_once(picture(3), middle);
    CHECK(fading > 0.15);
    CHECK(fading < 0.35);
    // Where nothing changes nothing is sharp.
    CHECK(share_at_once(picture(0.2), {20, 0, 1}) < 0.01);
}

TEST_CASE("The more a picture is blurred, the less of an edge's change is at once") {
    const OpeningImage image = picture(1);
    double before = 1;
    for (const double blur_mm : {0.0, 0.1, 0.3, 1.0}) {
        const double share = share_of_blurred_edge(image, blur_mm);
        CHECK(share > 0.2);
        CHECK(share < before);
        before = share;
    }
}

TEST_CASE("Both edges of a painted rod are as sharp as its picture") {
    const OpeningImage image = painted_rod::opening_of(painted_rod::photo_of({}));
    const Result<Rod> rod = find_rod(image, painted_rod::from_above());
    REQUIRE(rod);
    CHECK(rod->edge_share > 0.8 * share_of_blurred_edge(image, 0.3 / painted_rod::px_per_mm));
}

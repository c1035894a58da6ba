#include "sheet/rack_picture.hpp"

#include <catch2/catch.hpp>
#include <opencv2/imgcodecs.hpp>

#include "shop/atomic_file.hpp"
#include "support/temporary_folder.hpp"

using namespace bindhue;
using namespace bindhue::capture;

TEST_CASE("The picture of a rack shows each look in its colour and gaps in white") {
    Spool spool;
    spool.code = "only";
    spool.readings = {{{50, 60, 40}, Matrix3::identity(), {}}};
    const Palette palette{spool};
    const std::vector<SpoolLook> looks{{0, Schedule::finish, 0, {50, 60, 40}}};
    const std::vector<AskedLook> asked{{{50, 60, 40}, 1}, {{50, -40, 30}, 1}};
    const auto judged = audit(palette, looks, asked);
    REQUIRE(judged);
    REQUIRE(judged->gaps.size() == 1);

    const TemporaryFolder folder;
    const auto png = folder.path / "rack.png", svg = folder.path / "rack.svg";
    REQUIRE(write_rack_picture(palette, looks, asked, *judged, 2, png));
    const cv::Mat drawn = cv::imread(png.string());
    REQUIRE(drawn.cols == 1560);
    // a goes to the right and b up from the middle of the disc of middle lightness, which is at (780, 340).
    const double scale = 200.0 / 115;
    const auto at = [&](double a, double b) {
        return drawn.at<cv::Vec3b>(static_cast<int>(340 - scale * b), static_cast<int>(780 + scale * a));
    };
    const cv::Vec3b dot = at(60, 40);
    CHECK(dot[2] > 180);
    CHECK(dot[1] < 90);
    std::size_t white = 0;
    for (int dy = -25; dy <= 25; ++dy)
        for (int dx = -25; dx <= 25; ++dx) white += at(-40 + dx / scale, 30 + dy / scale) == cv::Vec3b(255, 255, 255);
    CHECK(white > 20);
    CHECK(at(-40, -60) != cv::Vec3b(255, 255, 255));

    REQUIRE(write_rack_picture(palette, looks, asked, *judged, 2, svg));
    CHECK(read_file(svg)->find("<svg") != std::string::npos);
    CHECK(write_rack_picture(palette, looks, asked, *judged, 2, folder.path / "rack.gif").error().reason ==
          Reason::bad_value);
    CHECK(write_rack_picture(palette, looks, asked, *judged, 2, folder.path / "none" / "rack.png").error().reason ==
          Reason::storage);
}

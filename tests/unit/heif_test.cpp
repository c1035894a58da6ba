#include <algorithm>
#include <array>
#include <catch2/catch.hpp>
#include <cmath>

#include <lcms2.h>
#include <opencv2/core.hpp>

#include "photo/photo.hpp"
#include "shop/atomic_file.hpp"
#ifdef BINDHUE_HEIF
#include "support/heic.hpp"
#include "support/source_dir.hpp"
#endif

using namespace bindhue;
using namespace bindhue::capture;

namespace {

// A still of 64 x 48 pixels, made of four quarters with heif-enc: in every build, and where no encoder is at hand.
const std::string still = in_source("tests/fuzz/photos/quarters.heic");

const std::array<cv::Vec3b, 4> colours{cv::Vec3b(20, 40, 200), {30, 180, 40}, {190, 60, 30}, {220, 220, 220}};

}  // namespace

#ifdef BINDHUE_HEIF

namespace {

cv::Mat quarters(int depth = CV_8U) {
    cv::Mat m(48, 64, CV_8UC3);
    for (int i = 0; i < 4; ++i)
        m(cv::Rect(32 * (i % 2), 24 * (i / 2), 32, 24)) = cv::Scalar(colours[static_cast<std::size_t>(i)]);
    if (depth == CV_16U) m.convertTo(m, CV_16U, 257);
    return m;
}

// Middles of the quarters of an upright photo are as they were made.
void is_upright(const Result<Photo>& photo, double tolerance) {
    if (!photo) FAIL(photo.error().what);
    REQUIRE(photo->bgr.size() == cv::Size(64, 48));
    for (int i = 0; i < 4; ++i) {
        const cv::Scalar seen = cv::mean(photo->bgr(cv::Rect(32 * (i % 2) + 12, 24 * (i / 2) + 8, 8, 8))) /
                                (photo->full_scale() / 255.0);
        for (int c = 0; c < 3; ++c) {
            INFO("quarter " << i << ", channel " << c);
            CHECK(seen[c] == Approx(colours[static_cast<std::size_t>(i)][c]).margin(tolerance));
        }
    }
}

}  // namespace

TEST_CASE("A HEIC photo comes back upright, in the colours that it was made of") {
    const auto text = read_file(still);
    REQUIRE(text);
    is_upright(decode_photo(ImageBytes(text->begin(), text->end()), "photo"), 4);
}

TEST_CASE("HEIC of 8 and of 10 bits keeps its depth") {
    const auto eight = heic(quarters());
    if (!eight) {
        WARN("no HEVC encoder here: only the committed file was read");
        return;
    }
    const auto photo = decode_photo(*eight, "photo");
    is_upright(photo, 2);
    CHECK(photo->bgr.depth() == CV_8U);
    CHECK_FALSE(photo->linear);
    HeicOptions deep;
    deep.bits = 10;
    const auto ten = decode_photo(*heic(quarters(CV_16U), deep), "photo");
    is_upright(ten, 1);
    CHECK(ten->bgr.depth() == CV_16U);
    CHECK(ten->full_scale() == 65535);
}

TEST_CASE("A HEIC photo's turn is done once, whatever its EXIF repeats") {
    if (!heic(quarters())) return;
    for (int orientation = 1; orientation <= 8; ++orientation) {
        INFO("orientation " << orientation);
        HeicOptions options;
        options.orientation = orientation;
        options.exif = {'M', 'M', 0, 42, 0, 0, 0, 8, 0, 2,
                        // model, in place, and the orientation
                        0x01, 0x10, 0, 2, 0, 0, 0, 4, 'C', 'a', 'm', 0, 0x01, 0x12, 0, 3, 0, 0, 0, 1, 0,
                        static_cast<std::uint8_t>(orientation), 0, 0, 0, 0, 0, 0};
        cv::Mat stored = quarters();
        if (orientation >= 5) stored = cv::Mat(stored.t());
        if (orientation == 2 || orientation == 8) cv::flip(stored, stored, 1);
        if (orientation == 3 || orientation == 7) cv::flip(stored, stored, -1);
        if (orientation == 4 || orientation == 6) cv::flip(stored, stored, 0);
        const auto photo = decode_photo(*heic(stored, options), "photo");
        is_upright(photo, 2);
        CHECK(photo->camera == "Cam");
    }
}

TEST_CASE("A curve for high dynamic range is undone and the sRGB curve put in its place") {
    if (!heic(quarters())) return;
    // Rec. ITU-R BT.2100-2, table 5: the HLG signal 0.5 is a twelfth of full light; table 4: the PQ signal 0.5806888811 is
    // 203 cd/m2, the reference white of Rep. ITU-R BT.2408.
    for (const auto& [transfer, signal, light] :
         {std::tuple{heif_transfer_characteristic_ITU_R_BT_2100_0_HLG, 0.5, 1.0 / 12},
          {heif_transfer_characteristic_ITU_R_BT_2100_0_PQ, 0.5806888811, 0.203}}) {
        HeicOptions options;
        options.bits = 10;
        options.transfer = transfer;
        const auto photo =
            decode_photo(*heic(cv::Mat(48, 64, CV_16UC3, cv::Scalar::all(65535 * signal)), options), "photo");
        REQUIRE(photo);
        CHECK_FALSE(photo->linear);
        const double meant = 1.055 * std::pow(light, 1 / 2.4) - 0.055;
        CHECK(cv::mean(photo->bgr)[1] / 65535 == Approx(meant).margin(0.004));
    }
    HeicOptions options;
    options.bits = 10;
    options.transfer = heif_transfer_characteristic_linear;
    const auto linear =
        decode_photo(*heic(cv::Mat(48, 64, CV_16UC3, cv::Scalar::all(20000)), options), "photo");
    REQUIRE(linear);
    CHECK(linear->linear);
    CHECK(cv::mean(linear->bgr)[1] == Approx(20000).margin(130));
}

TEST_CASE("A HEIC photo cut short or damaged is refused") {
    const auto text = read_file(still);
    REQUIRE(text);
    const ImageBytes whole(text->begin(), text->end());
    for (const double share : {0.01, 0.2, 0.5, 0.8, 0.98}) {
        INFO("cut at " << share);
        const auto cut = decode_photo(
            std::span(whole).first(static_cast<std::size_t>(share * static_cast<double>(whole.size()))),
            "photo");
        REQUIRE_FALSE(cut);
        CHECK(cut.error().reason == Reason::bad_format);
        CHECK(cut.error().where == "photo");
        CHECK_FALSE(cut.error().mend.empty());
    }
}

TEST_CASE("A small HEIC file that claims to be enormous is refused before its picture is decoded") {
    const auto text = read_file(still);
    REQUIRE(text);
    const std::string box = "ispe", tiles = "idat";
    const auto whole = ImageBytes(text->begin(), text->end());
    const auto size = std::find_end(whole.begin(), whole.end(), box.begin(), box.end()) - whole.begin();
    const auto grid = std::search(whole.begin(), whole.end(), tiles.begin(), tiles.end()) - whole.begin();
    REQUIRE(size < static_cast<std::ptrdiff_t>(whole.size()));
    REQUIRE(grid < static_cast<std::ptrdiff_t>(whole.size()));
    for (const std::uint8_t high : {std::uint8_t{0x20}, std::uint8_t{0x7F}}) {
        ImageBytes file = whole, lying_grid = whole;
        // ISO/IEC 23008-12, 6.5.3: version and flags, then width and height in four bytes each; 6.6.2.3: two bytes of
        // version and flags, rows and columns, then width and height in two bytes each.
        file[static_cast<std::size_t>(size) + 10] = file[static_cast<std::size_t>(size) + 14] = high;
        lying_grid[static_cast<std::size_t>(grid) + 8] = lying_grid[static_cast<std::size_t>(grid) + 10] =
            high;
        CHECK_FALSE(decode_photo(lying_grid, "photo"));
        const auto refused = decode_photo(file, "photo");
        REQUIRE_FALSE(refused);
        CHECK(refused.error().reason == Reason::bad_format);
        CHECK_FALSE(refused.error().mend.empty());
    }
}

#else

TEST_CASE("A build without HEIC says so, and how to mend it") {
    const auto text = read_file(still);
    REQUIRE(text);
    const auto refused = decode_photo(std::vector<std::uint8_t>(text->begin(), text->end()), "photo");
    REQUIRE_FALSE(refused);
    CHECK_THAT(refused.error().what, Catch::Contains("this build"));
    CHECK_THAT(refused.error().mend, Catch::Contains("BINDHUE_HEIF"));
}

#endif

#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <fstream>

#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "colour/difference.hpp"
#include "photo/photo.hpp"
#include "reading/reading.hpp"
#include "support/dng.hpp"
#include "support/sample.hpp"
#include "support/temporary_folder.hpp"

using namespace bindhue;
using namespace bindhue::capture;

#ifdef BINDHUE_RAW

namespace {

// Camera RGB of four quarters, blue first, as shares of full scale.
const std::array<cv::Scalar, 4> colours{cv::Scalar(0.08, 0.30, 0.20), cv::Scalar(0.25, 0.50, 0.24),
                                        cv::Scalar(0.02, 0.01, 0.015), cv::Scalar(0.40, 0.55, 0.10)};

cv::Mat quarters() {
    cv::Mat m(128, 192, CV_16UC3);
    for (int i = 0; i < 4; ++i)
        m(cv::Rect(96 * (i % 2), 64 * (i / 2), 96, 64)) = 65535 * colours[static_cast<std::size_t>(i)];
    // Noise of 0.2 % of full scale: light without any would look like a sensor that is full.
    cv::Mat noise(m.size(), CV_16SC3);
    cv::theRNG().state = 20261125;
    cv::randn(noise, cv::Scalar::all(0), cv::Scalar::all(130));
    cv::add(m, noise, m, {}, CV_16U);
    return m;
}

// Middle of each quarter, as shares of full scale, of an upright picture.
cv::Scalar middle(const Photo& photo, int i) {
    const int w = photo.bgr.cols / 2, h = photo.bgr.rows / 2;
    return cv::mean(photo.bgr(cv::Rect(w * (i % 2) + w / 2 - 12, h * (i / 2) + h / 2 - 12, 24, 24))) /
           65535.0;
}

void is(const Photo& photo, const std::array<cv::Scalar, 4>& meant, double margin) {
    for (int i = 0; i < 4; ++i)
        for (int c = 0; c < 3; ++c) {
            INFO("quarter " << i << ", channel " << c);
            CHECK(middle(photo, i)[c] == Approx(meant[static_cast<std::size_t>(i)][c]).margin(margin));
        }
}

}  // namespace

TEST_CASE(
    "A DNG's numbers come back as linear camera RGB: black at nothing, white at the top, no balance and no "
    "matrix") {
    for (const auto& neutral :
         {std::array<std::uint32_t, 3>{500, 1000, 600}, {1000, 1000, 1000}, {300, 1000, 1900}}) {
        Dng how;
        how.neutral = neutral;
        const auto photo = decode_photo(mosaicked(quarters(), how).bytes(), "photo");
        if (!photo) FAIL(photo.error().what);
        CHECK(photo->linear);
        CHECK(photo->bgr.type() == CV_16UC3);
        CHECK(photo->bgr.size() == cv::Size(192, 128));
        CHECK_THAT(photo->camera, Catch::Contains("One"));
        // The mean of 144 sites of that noise has a standard deviation of 0.00017.
        is(*photo, colours, 1e-3);
    }
}

TEST_CASE("A DNG's eight orientations give the same upright picture") {
    for (const int orientation : {1, 2, 3, 4, 5, 6, 7, 8}) {
        INFO("orientation " << orientation);
        cv::Mat stored = quarters();
        if (orientation >= 5) stored = cv::Mat(stored.t());
        if (orientation == 2 || orientation == 8) cv::flip(stored, stored, 1);
        if (orientation == 3 || orientation == 7) cv::flip(stored, stored, -1);
        if (orientation == 4 || orientation == 6) cv::flip(stored, stored, 0);
        Dng how;
        how.orientation = static_cast<std::uint16_t>(orientation);
        const auto photo = decode_photo(mosaicked(stored, how).bytes(), "photo");
        if (!photo) FAIL(photo.error().what);
        REQUIRE(photo->bgr.size() == cv::Size(192, 128));
        is(*photo, colours, 1e-3);
    }
}

TEST_CASE("A raw photo's clipped channels are at the top of the scale, each for itself") {
    cv::Mat bright = quarters();
    bright(cv::Rect(96, 0, 96, 64)) = cv::Scalar(0.7, 1.0, 0.4) * 65535;
    const auto photo = decode_photo(mosaicked(bright).bytes(), "photo");
    REQUIRE(photo);
    const cv::Scalar seen = middle(*photo, 1);
    CHECK(seen[1] > 0.999);
    CHECK(seen[0] == Approx(0.7).margin(2e-3));
    CHECK(seen[2] == Approx(0.4).margin(2e-3));

    // A sensor that is full at nine tenths of what its file calls white: all the same clipped.
    bright(cv::Rect(96, 0, 96, 64)) = cv::Scalar(0.25, 0.6, 0.24) * 65535;
    Dng how = mosaicked(bright);
    const auto full = static_cast<std::uint16_t>(how.black + 0.5 * (how.white - how.black));
    how.white = static_cast<std::uint16_t>(how.black + 0.7 * (how.white - how.black));
    for (std::uint16_t& v : how.mosaic) v = std::min(v, full);
    const auto early = decode_photo(how.bytes(), "photo");
    REQUIRE(early);
    CHECK(middle(*early, 1)[1] > 0.999);
    CHECK(middle(*early, 1)[0] == Approx(0.25 / 0.5).margin(2e-3));
}

TEST_CASE("A raw file cut short, or that claims to be enormous, is refused with the reason") {
    const ImageBytes whole = mosaicked(quarters()).bytes();
    for (const double share : {0.1, 0.5, 0.9, 0.99}) {
        INFO("cut at " << share);
        const auto cut = decode_photo(
            std::span(whole).first(static_cast<std::size_t>(share * static_cast<double>(whole.size()))),
            "photo");
        REQUIRE_FALSE(cut);
        CHECK(cut.error().reason == Reason::bad_format);
        CHECK_FALSE(cut.error().mend.empty());
    }
    for (const std::uint32_t side : {12000U, 40000U, 4000000000U}) {
        Dng how = mosaicked(quarters());
        how.said_width = how.said_height = side;
        const auto lying = decode_photo(how.bytes(), "photo");
        INFO(side);
        REQUIRE_FALSE(lying);
        CHECK(lying.error().reason == Reason::bad_format);
    }
}

TEST_CASE("A sample photo written as a raw file reads the same bands, without being told that it is linear") {
    const TemporaryFolder folder;
    cv::Mat picture = cv::imread((samples / "photos/noon.png").string(), cv::IMREAD_UNCHANGED);
    // A sensor of twice as many sites a side: mosaicking and demosaicking cost resolution that the sample has lost once.
    cv::resize(picture, picture, {}, 2, 2, cv::INTER_CUBIC);
    cv::imwrite((folder.path / "noon.png").string(), picture);
    const ImageBytes dng = mosaicked(picture).bytes();
    std::ofstream(folder.path / "noon.dng", std::ios::binary)
        .write(reinterpret_cast<const char*>(dng.data()), static_cast<std::streamsize>(dng.size()));
    ReadOptions options;
    options.layout = sample_layout();
    const auto raw = read_photo(folder.path / "noon.dng", options);
    if (!raw) FAIL(raw.error().what);
    options.linear = true;
    const auto plain = read_photo(folder.path / "noon.png", options);
    REQUIRE(plain);
    REQUIRE(raw->bands.size() == plain->bands.size());
    for (std::size_t i = 0; i < raw->bands.size(); ++i) {
        INFO("band " << i + 1);
        CHECK(raw->bands[i].start_mm == Approx(plain->bands[i].start_mm).margin(0.3));
        CHECK(ciede2000(raw->bands[i].colour.lab, plain->bands[i].colour.lab) < 0.5);
    }
}

#else

TEST_CASE("A build without raw files says so, and how to mend it") {
    cv::Mat grey(128, 192, CV_16UC3, cv::Scalar::all(20000));
    const auto refused = decode_photo(mosaicked(grey).bytes(), "photo");
    REQUIRE_FALSE(refused);
    CHECK_THAT(refused.error().what, Catch::Contains("this build"));
    CHECK_THAT(refused.error().mend, Catch::Contains("BINDHUE_RAW"));
}

#endif

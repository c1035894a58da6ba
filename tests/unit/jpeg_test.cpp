#include <catch2/catch.hpp>

#include "photo/decoders.hpp"
#include "support/image_bytes.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

cv::Mat noisy() {
    cv::Mat m(240, 320, CV_8UC3);
    cv::theRNG().state = 20261125;
    cv::randu(m, cv::Scalar::all(60), cv::Scalar::all(200));
    return m;
}

std::size_t start_of_scan(const ImageBytes& jpeg) {
    for (std::size_t at = 2; at + 4 < jpeg.size(); at += 2 + std::size_t{jpeg[at + 2]} * 256 + jpeg[at + 3])
        if (jpeg[at + 1] == 0xDA) return at + 2 + std::size_t{jpeg[at + 2]} * 256 + jpeg[at + 3];
    return 0;
}

}  // namespace

TEST_CASE("A JPEG is decoded as OpenCV decodes it, grey or in colour, in one scan or several") {
    cv::Mat grey;
    cv::extractChannel(noisy(), grey, 1);
    for (const ImageBytes& file :
         {encoded(noisy(), ".jpg"), encoded(noisy(), ".jpg", {cv::IMWRITE_JPEG_PROGRESSIVE, 1}),
          encoded(noisy(), ".jpg", {cv::IMWRITE_JPEG_RST_INTERVAL, 4}), encoded(grey, ".jpg")}) {
        const auto decoded = decode_jpeg(file, "photo");
        REQUIRE(decoded);
        CHECK(cv::norm(decoded->bgr, cv::imdecode(file, cv::IMREAD_COLOR), cv::NORM_INF) == 0);
    }
}

TEST_CASE(
    "A JPEG damaged in the middle is refused, though it has its end: what is filled in must not be "
    "measured") {
    for (const std::vector<int>& how :
         {std::vector<int>{}, {cv::IMWRITE_JPEG_PROGRESSIVE, 1}, {cv::IMWRITE_JPEG_RST_INTERVAL, 4}}) {
        const ImageBytes whole = encoded(noisy(), ".jpg", how);
        const std::size_t first = start_of_scan(whole), middle = (first + whole.size()) / 2;
        REQUIRE(first > 0);
        // Bytes lost on the way, the end still there.
        ImageBytes shorter = whole;
        shorter.erase(shorter.begin() + static_cast<std::ptrdiff_t>(middle),
                      shorter.begin() + static_cast<std::ptrdiff_t>(middle + 3000));
        // A block of zeros, as a bad memory card gives.
        ImageBytes holed = whole;
        std::fill_n(holed.begin() + static_cast<std::ptrdiff_t>(middle), 3000, std::uint8_t{0});
        for (const ImageBytes& file : {shorter, holed}) {
            const auto refused = decode_jpeg(file, "photo");
            REQUIRE_FALSE(refused);
            CHECK(refused.error().reason == Reason::bad_format);
            CHECK_THAT(refused.error().what, Catch::Contains("damaged at about row"));
            CHECK(refused.error().where == "photo");
            CHECK_FALSE(refused.error().mend.empty());
        }
    }
}

TEST_CASE("What follows a JPEG's end, as a phone appends a film, does no harm") {
    ImageBytes file = encoded(noisy(), ".jpg");
    file.insert(file.end(), 5000, 0xA5);
    CHECK(decode_jpeg(file, "photo"));
}

TEST_CASE("A JPEG whose scans never end is refused in good time") {
    // The same scan of a progressive picture over and over: legal, and slow to a decoder that follows.
    const ImageBytes whole = encoded(noisy(), ".jpg", {cv::IMWRITE_JPEG_PROGRESSIVE, 1});
    const std::size_t first = start_of_scan(whole);
    std::size_t scan = first;
    while (whole[scan] != 0xFF || whole[scan + 1] != 0xDA) --scan;
    std::size_t end = first;
    while (end + 1 < whole.size() && (whole[end] != 0xFF || whole[end + 1] == 0)) ++end;
    ImageBytes file(whole.begin(), whole.begin() + static_cast<std::ptrdiff_t>(end));
    for (int i = 0; i < 1000; ++i)
        file.insert(file.end(), whole.begin() + static_cast<std::ptrdiff_t>(scan),
                    whole.begin() + static_cast<std::ptrdiff_t>(end));
    file.insert(file.end(), {0xFF, 0xD9});
    const auto refused = decode_jpeg(file, "photo");
    REQUIRE_FALSE(refused);
    CHECK_FALSE(refused.error().mend.empty());
}

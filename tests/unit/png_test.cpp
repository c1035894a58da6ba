#include <catch2/catch.hpp>

#include "photo/decoders.hpp"
#include "support/image_bytes.hpp"

using namespace bindhue;
using namespace bindhue::capture;

TEST_CASE("A PNG is decoded as OpenCV decodes it, grey, in colour or with transparency, of 8 or 16 bits") {
    for (const int type : {CV_8UC1, CV_8UC3, CV_8UC4, CV_16UC1, CV_16UC3, CV_16UC4}) {
        INFO("type " << type);
        const ImageBytes file = encoded(noisy(type), ".png");
        const auto decoded = decode_png(file, "photo");
        REQUIRE(decoded);
        CHECK(decoded->bgr.type() == CV_MAKETYPE(CV_MAT_DEPTH(type), 3));
        CHECK(cv::norm(decoded->bgr, cv::imdecode(file, cv::IMREAD_COLOR | cv::IMREAD_ANYDEPTH),
                       cv::NORM_INF) == 0);
    }
    const ImageBytes bits = encoded(noisy(CV_8UC1), ".png", {cv::IMWRITE_PNG_BILEVEL, 1});
    const auto decoded = decode_png(bits, "photo");
    REQUIRE(decoded);
    CHECK(cv::norm(decoded->bgr, cv::imdecode(bits, cv::IMREAD_COLOR), cv::NORM_INF) == 0);
}

TEST_CASE("A PNG with one wrong bit in its pixels is refused") {
    const ImageBytes whole = encoded(noisy(CV_8UC3), ".png");
    for (const double share : {0.1, 0.5, 0.9}) {
        ImageBytes file = whole;
        file[static_cast<std::size_t>(share * static_cast<double>(file.size()))] ^= 4U;
        const auto refused = decode_png(file, "photo");
        REQUIRE_FALSE(refused);
        CHECK(refused.error().reason == Reason::bad_format);
        CHECK_THAT(refused.error().what, Catch::Contains("damaged"));
        CHECK(refused.error().where == "photo");
        CHECK_FALSE(refused.error().mend.empty());
    }
}

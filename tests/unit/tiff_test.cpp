#include <catch2/catch.hpp>

#include <opencv2/imgproc.hpp>

#include "photo/decoders.hpp"
#include "support/image_bytes.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

// TIFF 6.0 by hand, big-endian: pixels in three planes or in tiles, which OpenCV does not write.
struct Handmade {
    ImageBytes out{'M', 'M', 0, 42, 0, 0, 0, 8};
    void u16(std::size_t v) {
        out.push_back(static_cast<std::uint8_t>(v >> 8U));
        out.push_back(static_cast<std::uint8_t>(v));
    }
    void u32(std::size_t v) {
        u16(v >> 16U);
        u16(v & 0xFFFFU);
    }
    void entry(std::size_t tag, std::size_t type, std::size_t count, std::size_t value) {
        u16(tag);
        u16(type);
        u32(count);
        if (type == 3 && count == 1) {
            u16(value);
            u16(0);
        } else {
            u32(value);
        }
    }
};

ImageBytes in_planes(const cv::Mat& bgr) {
    const auto w = static_cast<std::size_t>(bgr.cols), h = static_cast<std::size_t>(bgr.rows);
    Handmade t;
    t.u16(9);
    const std::size_t lists = 8 + 2 + 9 * 12 + 4, data = lists + 6 + 12 + 12;
    t.entry(0x0100, 3, 1, w);
    t.entry(0x0101, 3, 1, h);
    t.entry(0x0102, 3, 3, lists);
    t.entry(0x0103, 3, 1, 1);
    t.entry(0x0106, 3, 1, 2);
    t.entry(0x0111, 4, 3, lists + 6);
    t.entry(0x0115, 3, 1, 3);
    t.entry(0x0117, 4, 3, lists + 18);
    t.entry(0x011C, 3, 1, 2);
    t.u32(0);
    for (int c = 0; c < 3; ++c) t.u16(16);
    for (std::size_t c = 0; c < 3; ++c) t.u32(data + c * w * h * 2);
    for (int c = 0; c < 3; ++c) t.u32(w * h * 2);
    for (int c = 2; c >= 0; --c)
        for (int y = 0; y < bgr.rows; ++y)
            for (int x = 0; x < bgr.cols; ++x) t.u16(bgr.at<cv::Vec3w>(y, x)[c]);
    return t.out;
}

ImageBytes in_tiles(const cv::Mat& bgr) {
    constexpr int side = 32;
    const int across = (bgr.cols + side - 1) / side, down = (bgr.rows + side - 1) / side;
    const auto n = static_cast<std::size_t>(across * down);
    Handmade t;
    t.u16(10);
    const std::size_t lists = 8 + 2 + 10 * 12 + 4, data = lists + 6 + 8 * n, bytes = side * side * 3;
    t.entry(0x0100, 3, 1, static_cast<std::size_t>(bgr.cols));
    t.entry(0x0101, 3, 1, static_cast<std::size_t>(bgr.rows));
    t.entry(0x0102, 3, 3, lists);
    t.entry(0x0103, 3, 1, 1);
    t.entry(0x0106, 3, 1, 2);
    t.entry(0x0115, 3, 1, 3);
    t.entry(0x0142, 3, 1, side);
    t.entry(0x0143, 3, 1, side);
    t.entry(0x0144, 4, n, lists + 6);
    t.entry(0x0145, 4, n, lists + 6 + 4 * n);
    t.u32(0);
    for (int c = 0; c < 3; ++c) t.u16(8);
    for (std::size_t i = 0; i < n; ++i) t.u32(data + i * bytes);
    for (std::size_t i = 0; i < n; ++i) t.u32(bytes);
    for (int row = 0; row < down; ++row)
        for (int column = 0; column < across; ++column)
            for (int y = 0; y < side; ++y)
                for (int x = 0; x < side; ++x)
                    for (int c = 2; c >= 0; --c) {
                        const int px = side * column + x, py = side * row + y;
                        t.out.push_back(px < bgr.cols && py < bgr.rows ? bgr.at<cv::Vec3b>(py, px)[c]
                                                                       : std::uint8_t{99});
                    }
    return t.out;
}

}  // namespace

TEST_CASE("A TIFF is decoded as OpenCV decodes it, grey, in colour or with transparency, compressed or not") {
    for (const int type : {CV_8UC1, CV_8UC3, CV_8UC4, CV_16UC1, CV_16UC3, CV_16UC4})
        // TIFF 6.0 and its supplements: none, LZW, deflate, PackBits.
        for (const int compression : {1, 5, 8, 32773}) {
            INFO("type " << type << ", compression " << compression);
            const ImageBytes file =
                encoded(noisy(type), ".tiff", {cv::IMWRITE_TIFF_COMPRESSION, compression});
            const auto decoded = decode_tiff(file, "photo");
            REQUIRE(decoded);
            CHECK(decoded->bgr.type() == CV_MAKETYPE(CV_MAT_DEPTH(type), 3));
            cv::Mat meant = noisy(type);
            if (meant.channels() == 1) cv::cvtColor(meant, meant, cv::COLOR_GRAY2BGR);
            if (meant.channels() == 4) cv::cvtColor(meant, meant, cv::COLOR_BGRA2BGR);
            CHECK(cv::norm(decoded->bgr, meant, cv::NORM_INF) == 0);
        }
}

TEST_CASE("A TIFF in planes and one in tiles are put together") {
    const auto planes = decode_tiff(in_planes(noisy(CV_16UC3)), "photo");
    REQUIRE(planes);
    CHECK(cv::norm(planes->bgr, noisy(CV_16UC3), cv::NORM_INF) == 0);
    const auto tiles = decode_tiff(in_tiles(noisy(CV_8UC3)), "photo");
    REQUIRE(tiles);
    CHECK(cv::norm(tiles->bgr, noisy(CV_8UC3), cv::NORM_INF) == 0);
}

TEST_CASE("A TIFF with a hole in its compressed pixels, and one of another kind, are refused") {
    ImageBytes holed = encoded(noisy(CV_16UC3), ".tiff", {cv::IMWRITE_TIFF_COMPRESSION, 8});
    std::fill_n(holed.begin() + static_cast<std::ptrdiff_t>(holed.size() / 2), 500, std::uint8_t{0});
    cv::Mat floats(24, 24, CV_32FC3, cv::Scalar::all(0.5));
    for (const ImageBytes& file : {holed, encoded(floats, ".tiff")}) {
        const auto refused = decode_tiff(file, "photo");
        REQUIRE_FALSE(refused);
        CHECK(refused.error().reason == Reason::bad_format);
        CHECK(refused.error().where == "photo");
        CHECK_FALSE(refused.error().mend.empty());
    }
}

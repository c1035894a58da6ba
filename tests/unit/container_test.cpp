#include "photo/container.hpp"

#include <catch2/catch.hpp>
#include <opencv2/core.hpp>

#include "support/dng.hpp"
#include "support/image_bytes.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

cv::Mat small(int type) { return noisy(type, {40, 24}); }

void refused(const ImageBytes& file, const std::string& what) {
    const auto container = read_container(file, "photo");
    REQUIRE_FALSE(container);
    CHECK(container.error().reason == Reason::bad_format);
    CHECK_THAT(container.error().what, Catch::Contains(what));
    CHECK(container.error().where == "photo");
    CHECK_FALSE(container.error().mend.empty());
}

}  // namespace

TEST_CASE("A file's head says its format and size") {
    for (const auto& [ending, format] :
         {std::pair{".jpg", ImageFormat::jpeg}, {".png", ImageFormat::png}, {".tiff", ImageFormat::tiff}}) {
        INFO(ending);
        const auto container = read_container(encoded(small(CV_8UC3), ending), "photo");
        REQUIRE(container);
        CHECK(container->format == format);
        CHECK(container->width == 40);
        CHECK(container->height == 24);
        CHECK(container->icc.empty());
        CHECK(container->exif.camera.empty());
    }
}

TEST_CASE("A file cut off anywhere is refused") {
    for (const char* ending : {".jpg", ".png", ".tiff"}) {
        const ImageBytes whole = encoded(small(CV_8UC3), ending);
        INFO(ending << ", " << whole.size() << " bytes");
        std::size_t taken = 0;
        for (std::size_t length = 0; length < whole.size(); ++length)
            if (read_container(std::span(whole).first(length), "photo")) ++taken;
        CHECK(taken == 0);
    }
}

TEST_CASE("A file that says it is enormous is refused before a pixel is decoded") {
    for (const char* ending : {".jpg", ".png", ".tiff"}) {
        INFO(ending);
        refused(with_said_size(encoded(small(CV_8UC3), ending), 60000), "more than 200 megapixels");
        refused(with_said_size(encoded(small(CV_8UC3), ending), 0), "no size");
    }
}

TEST_CASE("A file that is too small for the size it claims is refused") {
    for (const char* ending : {".jpg", ".png", ".tiff"}) {
        INFO(ending);
        refused(with_said_size(encoded(small(CV_8UC3), ending), 9000),
                "too small for a picture of 9000 x 9000");
    }
    refused(with_said_size(encoded(small(CV_16UC3), ".png"), 11000), "more than 100 megapixels of 16 bits");
    // 48 megapixels in half a megabyte: a sharp camera's dullest JPEG.
    CHECK(check_size(8000, 6000, 8, 500'000, "photo"));
    CHECK_FALSE(check_size(8000, 6000, 8, 100'000, "photo"));
    // Products that would wrap round.
    for (const std::uint64_t side :
         {std::uint64_t{1} << 31U, std::uint64_t{1} << 32U, std::uint64_t{1} << 33U})
        CHECK_FALSE(check_size(side, side, 8, 1'000'000'000, "photo"));
}

TEST_CASE("A camera's raw file and a HEIC photo are told by their heads") {
    const auto raw = read_container(mosaicked(small(CV_16UC3)).bytes(), "photo");
    REQUIRE(raw);
    CHECK(raw->format == ImageFormat::raw);
    ImageBytes heic{0, 0, 0, 24, 'f', 't', 'y', 'p', 'h', 'e', 'i', 'c', 0, 0, 0, 0};
    const auto phone = read_container(heic, "photo");
    REQUIRE(phone);
    CHECK(phone->format == ImageFormat::heif);
}

TEST_CASE("What is no picture is refused") {
    refused({}, "empty");
    const std::string text = "this is a letter to a customer";
    refused(ImageBytes(text.begin(), text.end()), "not a photo");
    refused({0xFF, 0xD8, 0xFF, 0xD9}, "no picture");
}

TEST_CASE("A profile in parts is put together, and one that lacks its first part is none") {
    const ImageBytes jpeg = encoded(small(CV_8UC3), ".jpg");
    const auto part = [](std::uint8_t number, const std::string& text) {
        ImageBytes out{'I', 'C', 'C', '_', 'P', 'R', 'O', 'F', 'I', 'L', 'E', 0, number, 2};
        for (const char c : text) out.push_back(static_cast<std::uint8_t>(c));
        return out;
    };
    const auto both =
        read_container(with_segment(with_segment(jpeg, 0xE2, part(2, "two")), 0xE2, part(1, "one")), "photo");
    REQUIRE(both);
    CHECK(std::string(both->icc.begin(), both->icc.end()) == "onetwo");
    const auto half = read_container(with_segment(jpeg, 0xE2, part(2, "two")), "photo");
    REQUIRE(half);
    CHECK(half->icc.empty());
}

TEST_CASE(
    "EXIF names the camera and the focal length, and a directory that points out of the file is passed "
    "over") {
    const ImageBytes jpeg = encoded(small(CV_8UC3), ".jpg");
    ImageBytes exif{'E', 'x', 'i', 'f', 0, 0, 'I', 'I', 42, 0, 8, 0, 0, 0,
                    // at 8: model of four letters in place, and where the EXIF directory lies
                    2, 0, 0x10, 0x01, 2, 0, 4, 0, 0, 0, 'C', 'a', 'm', 0, 0x69, 0x87, 4, 0, 1, 0, 0, 0, 38, 0,
                    0, 0, 0, 0, 0, 0,
                    // at 38: focal length in 35 mm film
                    1, 0, 0x05, 0xA4, 3, 0, 1, 0, 0, 0, 26, 0, 0, 0, 0, 0, 0, 0};
    const auto said = read_container(with_segment(jpeg, 0xE1, exif), "photo");
    REQUIRE(said);
    CHECK(said->exif.camera == "Cam");
    CHECK(said->exif.focal_35mm == 26);
    exif[39 + 1] = 0xFF;  // the offset of the EXIF directory, now far outside
    exif[39 + 2] = 0xFF;
    for (std::size_t i = 36; i < 40; ++i) exif[i] = 0xFF;
    const auto astray = read_container(with_segment(jpeg, 0xE1, exif), "photo");
    REQUIRE(astray);
    CHECK(astray->exif.focal_35mm == 0);
}

#include "photo/photo.hpp"

#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <fstream>

#include <lcms2.h>
#include <opencv2/core.hpp>

#include "support/image_bytes.hpp"
#include "support/temporary_folder.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

// Four quarters of four colours: every turn and every mirror image of it is another picture.
cv::Mat quarters(int depth = CV_8U) {
    cv::Mat m(48, 80, CV_8UC3);
    m(cv::Rect(0, 0, 40, 24)) = cv::Scalar(20, 40, 200);
    m(cv::Rect(40, 0, 40, 24)) = cv::Scalar(30, 180, 40);
    m(cv::Rect(0, 24, 40, 24)) = cv::Scalar(190, 60, 30);
    m(cv::Rect(40, 24, 40, 24)) = cv::Scalar(220, 220, 220);
    if (depth == CV_16U) m.convertTo(m, CV_16U, 257);
    return m;
}

// EXIF orientation: how the upright picture has to be stored for a viewer that obeys the tag (CIPA DC-008, 4.6.4.A).
cv::Mat stored(const cv::Mat& upright, int orientation) {
    cv::Mat m = upright.clone();
    const auto flip = [&](int how) {
        cv::Mat out;
        cv::flip(m, out, how);
        m = out;
    };
    if (orientation >= 5) m = cv::Mat(m.t());
    if (orientation == 2 || orientation == 8) flip(1);
    if (orientation == 3 || orientation == 7) flip(-1);
    if (orientation == 4 || orientation == 6) flip(0);
    return m;
}

double worst_difference(const cv::Mat& a, const cv::Mat& b) { return cv::norm(a, b, cv::NORM_INF); }

// Middle of each quarter: far from where JPEG mixes neighbours.
cv::Vec3b at(const Photo& photo, int x, int y) { return photo.bgr.at<cv::Vec3b>(y, x); }

ImageBytes saved(cmsHPROFILE profile) {
    cmsUInt32Number size = 0;
    cmsSaveProfileToMem(profile, nullptr, &size);
    ImageBytes out(size);
    cmsSaveProfileToMem(profile, out.data(), &size);
    cmsCloseProfile(profile);
    return out;
}

// An input profile of tables which says that the file's red and blue are sRGB's blue and red.
ImageBytes swapping_profile() {
    cmsHPROFILE srgb = cmsCreate_sRGBProfile(), lab = cmsCreateLab4Profile(nullptr);
    cmsHTRANSFORM to_lab = cmsCreateTransform(srgb, TYPE_RGB_16, lab, TYPE_Lab_16,
                                              INTENT_RELATIVE_COLORIMETRIC, cmsFLAGS_NOOPTIMIZE);
    cmsStage* table = cmsStageAllocCLut16bit(nullptr, 21, 3, 3, nullptr);
    cmsStageSampleCLut16bit(
        table,
        [](const cmsUInt16Number in[], cmsUInt16Number out[], void* cargo) -> cmsInt32Number {
            const std::array<cmsUInt16Number, 3> swapped{in[2], in[1], in[0]};
            cmsDoTransform(cargo, swapped.data(), out, 1);
            return 1;
        },
        to_lab, 0);
    cmsPipeline* pipeline = cmsPipelineAlloc(nullptr, 3, 3);
    // ICC.1:2010, 10.10: a table stands between two sets of curves.
    cmsPipelineInsertStage(pipeline, cmsAT_END, cmsStageAllocToneCurves(nullptr, 3, nullptr));
    cmsPipelineInsertStage(pipeline, cmsAT_END, table);
    cmsPipelineInsertStage(pipeline, cmsAT_END, cmsStageAllocToneCurves(nullptr, 3, nullptr));
    cmsHPROFILE out = cmsCreateProfilePlaceholder(nullptr);
    cmsSetProfileVersion(out, 4.2);
    cmsSetDeviceClass(out, cmsSigInputClass);
    cmsSetColorSpace(out, cmsSigRgbData);
    cmsSetPCS(out, cmsSigLabData);
    REQUIRE(cmsWriteTag(out, cmsSigAToB0Tag, pipeline));
    REQUIRE(cmsWriteTag(out, cmsSigMediaWhitePointTag, cmsD50_XYZ()));
    cmsPipelineFree(pipeline);
    cmsDeleteTransform(to_lab);
    cmsCloseProfile(srgb);
    cmsCloseProfile(lab);
    return saved(out);
}

double decoded(double v) { return v <= 0.04045 ? v / 12.92 : std::pow((v + 0.055) / 1.055, 2.4); }
double encoded_srgb(double v) { return v <= 0.0031308 ? 12.92 * v : 1.055 * std::pow(v, 1 / 2.4) - 0.055; }

void refused(const ImageBytes& file) {
    const auto photo = decode_photo(file, "photo");
    REQUIRE_FALSE(photo);
    CHECK(photo.error().reason == Reason::bad_format);
    CHECK(photo.error().where == "photo");
    CHECK_FALSE(photo.error().what.empty());
    CHECK_FALSE(photo.error().mend.empty());
}

}  // namespace

TEST_CASE("JPEG, PNG and TIFF of 8 and 16 bits come back as they were saved") {
    for (const auto& [ending, depth, tolerance] : {std::tuple{".png", CV_8U, 0.0},
                                                   {".png", CV_16U, 0.0},
                                                   {".tiff", CV_8U, 0.0},
                                                   {".tiff", CV_16U, 0.0}}) {
        INFO(ending << " " << depth);
        const auto photo = decode_photo(encoded(quarters(depth), ending), "photo");
        REQUIRE(photo);
        CHECK(photo->bgr.depth() == depth);
        CHECK(photo->full_scale() == (depth == CV_8U ? 255.0 : 65535.0));
        CHECK(worst_difference(photo->bgr, quarters(depth)) <= tolerance);
    }
    const auto jpeg = decode_photo(encoded(quarters(), ".jpg", {cv::IMWRITE_JPEG_QUALITY, 95}), "photo");
    REQUIRE(jpeg);
    for (const auto& [x, y] : {std::pair{20, 12}, {60, 12}, {20, 36}, {60, 36}}) {
        const cv::Vec3b seen = at(*jpeg, x, y), meant = quarters().at<cv::Vec3b>(y, x);
        for (int c = 0; c < 3; ++c) CHECK(std::abs(seen[c] - meant[c]) <= 3);
    }
}

TEST_CASE("All eight orientations give the same upright picture, of JPEG, PNG and TIFF") {
    for (const auto& [ending, depth] :
         {std::pair{".jpg", CV_8U}, {".png", CV_8U}, {".png", CV_16U}, {".tiff", CV_8U}, {".tiff", CV_16U}})
        for (int orientation = 1; orientation <= 8; ++orientation) {
            INFO(ending << " " << depth << ", orientation " << orientation);
            const ImageBytes file = with_orientation(encoded(stored(quarters(depth), orientation), ending),
                                                     static_cast<std::uint8_t>(orientation));
            const auto photo = decode_photo(file, "photo");
            REQUIRE(photo);
            REQUIRE(photo->bgr.cols == 80);
            REQUIRE(photo->bgr.rows == 48);
            for (const auto& [x, y] : {std::pair{20, 12}, {60, 12}, {20, 36}, {60, 36}}) {
                const cv::Scalar seen =
                    cv::mean(photo->bgr(cv::Rect(x - 4, y - 4, 8, 8))) / (photo->full_scale() / 255);
                const cv::Vec3b meant = quarters().at<cv::Vec3b>(y, x);
                for (int c = 0; c < 3; ++c) CHECK(std::abs(seen[c] - meant[c]) <= 4);
            }
        }
}

TEST_CASE("A matrix profile leaves pixels as they are, for the card tells what they mean") {
    const ImageBytes plain = encoded(quarters(), ".jpg");
    const auto with = decode_photo(with_profile(plain, saved(cmsCreate_sRGBProfile())), "photo"),
               without = decode_photo(plain, "photo");
    REQUIRE(with);
    REQUIRE(without);
    CHECK(worst_difference(with->bgr, without->bgr) == 0);
}

TEST_CASE("A phone's profile of wide primaries and the sRGB curve leaves pixels as they are") {
    // White point D65 and the primaries of SMPTE RP 431-2 (DCI-P3), the curve of IEC 61966-2-1.
    const cmsCIExyY white{0.3127, 0.3290, 1.0};
    const cmsCIExyYTRIPLE primaries{{0.680, 0.320, 1.0}, {0.265, 0.690, 1.0}, {0.150, 0.060, 1.0}};
    const std::array<cmsFloat64Number, 5> srgb{2.4, 1.0 / 1.055, 0.055 / 1.055, 1.0 / 12.92, 0.04045};
    cmsToneCurve* curve = cmsBuildParametricToneCurve(nullptr, 4, srgb.data());
    const std::array<cmsToneCurve*, 3> curves{curve, curve, curve};
    const ImageBytes profile = saved(cmsCreateRGBProfile(&white, &primaries, curves.data()));
    cmsFreeToneCurve(curve);
    const ImageBytes plain = encoded(quarters(), ".jpg");
    const auto with = decode_photo(with_profile(plain, profile), "photo"),
               without = decode_photo(plain, "photo");
    REQUIRE(with);
    REQUIRE(without);
    CHECK(worst_difference(with->bgr, without->bgr) == 0);
    CHECK_FALSE(with->linear);
}

TEST_CASE("A profile without a curve makes a photo a linear one") {
    const cmsCIExyY white{0.3127, 0.3290, 1.0};
    const cmsCIExyYTRIPLE primaries{{0.680, 0.320, 1.0}, {0.265, 0.690, 1.0}, {0.150, 0.060, 1.0}};
    cmsToneCurve* line = cmsBuildGamma(nullptr, 1.0);
    const std::array<cmsToneCurve*, 3> lines{line, line, line};
    const ImageBytes profile = saved(cmsCreateRGBProfile(&white, &primaries, lines.data()));
    cmsFreeToneCurve(line);
    const auto photo = decode_photo(with_profile(encoded(quarters(), ".jpg"), profile), "photo");
    REQUIRE(photo);
    CHECK(photo->linear);
}

TEST_CASE("A profile of tables is undone") {
    const ImageBytes plain = encoded(quarters(), ".jpg", {cv::IMWRITE_JPEG_QUALITY, 95});
    const ImageBytes file = with_profile(plain, swapping_profile());
    const auto photo = decode_photo(file, "photo"), raw = decode_photo(plain, "photo");
    REQUIRE(photo);
    REQUIRE(raw);
    for (const auto& [x, y] : {std::pair{20, 12}, {60, 12}, {20, 36}, {60, 36}}) {
        const cv::Vec3b was = at(*raw, x, y), is = at(*photo, x, y);
        // The file's blue is sRGB's red. From BT.709 primaries to BT.2020: ITU-R BT.2087-0, 4.
        const double r = decoded(was[0] / 255.0), g = decoded(was[1] / 255.0), b = decoded(was[2] / 255.0);
        CHECK(int{is[2]} == Approx(255 * encoded_srgb(0.6274 * r + 0.3293 * g + 0.0433 * b)).margin(3));
        CHECK(int{is[1]} == Approx(255 * encoded_srgb(0.0691 * r + 0.9195 * g + 0.0114 * b)).margin(3));
        CHECK(int{is[0]} == Approx(255 * encoded_srgb(0.0164 * r + 0.0880 * g + 0.8956 * b)).margin(3));
    }
    // Linear camera RGB has no profile worth the name.
    const auto linear = decode_photo(file, "photo", {true});
    REQUIRE(linear);
    CHECK(worst_difference(linear->bgr, raw->bgr) == 0);
}

TEST_CASE("A broken profile is passed over") {
    const ImageBytes plain = encoded(quarters(), ".jpg");
    const auto without = decode_photo(plain, "photo");
    REQUIRE(without);
    ImageBytes cut = swapping_profile();
    cut.resize(cut.size() / 2);
    for (const ImageBytes& profile : {ImageBytes{1, 2, 3}, ImageBytes(200, 0), cut}) {
        const auto photo = decode_photo(with_profile(plain, profile), "photo");
        REQUIRE(photo);
        CHECK(worst_difference(photo->bgr, without->bgr) == 0);
    }
}

TEST_CASE("A photo cut short, or of a size that it has not, is refused") {
    for (const char* ending : {".jpg", ".png", ".tiff"}) {
        const ImageBytes whole = encoded(quarters(), ending);
        for (const double share : {0.02, 0.3, 0.6, 0.95}) {
            INFO(ending << " cut at " << share);
            refused(ImageBytes(
                whole.begin(),
                whole.begin() + static_cast<std::ptrdiff_t>(share * static_cast<double>(whole.size()))));
        }
        INFO(ending);
        refused(with_said_size(whole, 60000));
    }
    refused({});
    refused({'h', 'e', 'l', 'l', 'o'});
}

TEST_CASE("A photo that is not there, a folder and an empty file are told apart from a bad picture") {
    const TemporaryFolder folder;
    const auto missing = load_photo(folder.path / "none.jpg");
    REQUIRE_FALSE(missing);
    CHECK(missing.error().reason == Reason::not_found);
    CHECK_THAT(missing.error().where, Catch::Contains("none.jpg"));
    std::ofstream(folder.path / "empty.jpg").close();
    for (const auto& path : {folder.path, folder.path / "empty.jpg"}) {
        const auto refused = load_photo(path);
        REQUIRE_FALSE(refused);
        CHECK(refused.error().reason == Reason::bad_format);
        CHECK(refused.error().where == path.string());
    }
}

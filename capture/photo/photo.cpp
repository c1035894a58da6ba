#include "photo/photo.hpp"

#include <array>
#include <fstream>
#include <memory>
#include <vector>

#include <lcms2.h>
#include <opencv2/core.hpp>

#include "photo/container.hpp"
#include "photo/decoders.hpp"

namespace bindhue::capture {
namespace {

struct ProfileCloser {
    void operator()(void* p) const { cmsCloseProfile(p); }
};
struct TransformCloser {
    void operator()(void* p) const { cmsDeleteTransform(p); }
};
using Profile = std::unique_ptr<void, ProfileCloser>;
using Transform = std::unique_ptr<void, TransformCloser>;

// Wide primaries with the sRGB curve, so that no colour of thread is clipped on the way.
Profile wide_profile() {
    const cmsCIExyY white{0.3127, 0.3290, 1.0};
    const cmsCIExyYTRIPLE primaries{
        {0.708, 0.292, 1.0}, {0.170, 0.797, 1.0}, {0.131, 0.046, 1.0}};  // ITU-R BT.2020
    const std::array<cmsFloat64Number, 5> srgb{2.4, 1.0 / 1.055, 0.055 / 1.055, 1.0 / 12.92, 0.04045};
    cmsToneCurve* curve = cmsBuildParametricToneCurve(nullptr, 4, srgb.data());
    const std::array<cmsToneCurve*, 3> curves{curve, curve, curve};
    Profile out(cmsCreateRGBProfile(&white, &primaries, curves.data()));
    cmsFreeToneCurve(curve);
    return out;
}

bool has_no_curve(cmsHPROFILE profile) {
    for (const cmsTagSignature tag : {cmsSigRedTRCTag, cmsSigGreenTRCTag, cmsSigBlueTRCTag}) {
        const auto* curve = static_cast<const cmsToneCurve*>(cmsReadTag(profile, tag));
        if (curve == nullptr || cmsIsToneCurveLinear(curve) == 0) return false;
    }
    return true;
}

// A matrix profile (sRGB, a phone's wide gamut) says which primaries and which curve the file means. The
// camera fit finds both from the card, and converting 8-bit pixels would only round and clip them; so it
// changes no pixel here, but a curve that is none makes the photo a linear one. A profile with tables bends colours in a way that no 3x3 can follow: that is undone
// first. A damaged or foreign profile leaves the pixels as they are: the card decides what the colours mean.
void honour_profile(const std::vector<std::uint8_t>& icc, Photo& photo) {
    if (icc.empty()) return;
    const Profile source(cmsOpenProfileFromMem(icc.data(), static_cast<cmsUInt32Number>(icc.size())));
    if (!source || cmsGetColorSpace(source.get()) != cmsSigRgbData) return;
    if (cmsIsMatrixShaper(source.get())) {
        photo.linear = has_no_curve(source.get());
        return;
    }
    cv::Mat& bgr = photo.bgr;
    const Profile target = wide_profile();
    const cmsUInt32Number type = bgr.depth() == CV_8U ? TYPE_BGR_8 : TYPE_BGR_16;
    const Transform transform(cmsCreateTransform(source.get(), type, target.get(), type,
                                                 INTENT_RELATIVE_COLORIMETRIC, cmsFLAGS_NOCACHE));
    if (!transform) return;
    for (int y = 0; y < bgr.rows; ++y)
        cmsDoTransform(transform.get(), bgr.ptr(y), bgr.ptr(y), static_cast<cmsUInt32Number>(bgr.cols));
}

// EXIF orientation: from the picture as stored to the picture upright (CIPA DC-008, 4.6.4.A).
void turn_upright(cv::Mat& picture, int orientation) {
    if (orientation >= 5) cv::transpose(picture, picture);
    if (orientation == 2 || orientation == 6) cv::flip(picture, picture, 1);
    if (orientation == 3 || orientation == 7) cv::flip(picture, picture, -1);
    if (orientation == 4 || orientation == 8) cv::flip(picture, picture, 0);
}

Result<Decoded> decode(const Container& container, std::span<const std::uint8_t> bytes,
                       const std::string& source) {
    switch (container.format) {
        case ImageFormat::jpeg:
            return decode_jpeg(bytes, source);
        case ImageFormat::png:
            return decode_png(bytes, source);
        case ImageFormat::tiff:
            return decode_tiff(bytes, source);
        case ImageFormat::heif:
            return decode_heif(bytes, source);
        case ImageFormat::raw:
            break;
    }
    return decode_raw(bytes, source);
}

}  // namespace

Result<Photo> decode_photo(std::span<const std::uint8_t> bytes, const std::string& source,
                           const PhotoOptions& options) {
    const Result<Container> container = read_container(bytes, source);
    if (!container) return container.error();

    const bool says_itself = container->format == ImageFormat::heif || container->format == ImageFormat::raw;
    Result<Decoded> decoded = decode(*container, bytes, source);
    if (!decoded) return decoded.error();
    const Exif& exif = says_itself ? decoded->exif : container->exif;
    turn_upright(decoded->bgr, exif.orientation);
    Photo photo;
    photo.bgr = std::move(decoded->bgr);
    photo.linear = options.linear || decoded->linear;
    photo.camera = exif.camera;
    photo.focal_35mm = exif.focal_35mm;
    photo.source = source;
    if (!photo.linear) honour_profile(says_itself ? decoded->icc : container->icc, photo);
    return photo;
}

Result<Photo> load_photo(const std::filesystem::path& path, const PhotoOptions& options) {
    std::error_code code;
    if (!std::filesystem::exists(path, code))
        return Error{Reason::not_found, "there is no such photo", path.string(), "check the name"};
    if (std::filesystem::is_directory(path, code))
        return Error{Reason::bad_format, "this is a folder, not a photo", path.string(),
                     "name one photo in it"};
    constexpr std::uintmax_t most = 1'000'000'000;
    const std::uintmax_t size = std::filesystem::file_size(path, code);
    const Error too_large{Reason::bad_format, "the file is larger than 1 GB", path.string(),
                          "name a photo; make it smaller, or crop it to the card"};
    if (!code && size > most) return too_large;
    std::vector<std::uint8_t> bytes;
    std::ifstream in(path, std::ios::binary);
    if (!code) bytes.reserve(size);
    // In parts, for a pipe does not say how much it will give.
    for (std::vector<char> part(1U << 20U); in && bytes.size() <= most;) {
        in.read(part.data(), static_cast<std::streamsize>(part.size()));
        bytes.insert(bytes.end(), part.begin(), part.begin() + static_cast<std::ptrdiff_t>(in.gcount()));
    }
    if (bytes.size() > most) return too_large;
    if (!in.eof())
        return Error{Reason::bad_format, "the photo can't be read", path.string(),
                     "check that you may read it"};
    return decode_photo(bytes, path.string(), options);
}

}  // namespace bindhue::capture

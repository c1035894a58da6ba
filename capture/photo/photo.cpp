#include "photo/photo.hpp"

#include <fcntl.h>
#include <unistd.h>

#include <array>
#include <fstream>
#include <memory>
#include <vector>

#include <lcms2.h>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "photo/container.hpp"

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

// A matrix profile (sRGB, a phone's wide gamut) says which primaries and which curve the file means. The
// camera fit finds both from the card, and converting 8-bit pixels would only round and clip them; so it
// changes nothing here. A profile with tables bends colours in a way that no 3x3 can follow: that is undone
// first. A damaged or foreign profile leaves the pixels as they are: the card decides what the colours mean.
void honour_profile(const std::vector<std::uint8_t>& icc, cv::Mat& bgr) {
    if (icc.empty()) return;
    const Profile source(cmsOpenProfileFromMem(icc.data(), static_cast<cmsUInt32Number>(icc.size())));
    if (!source || cmsGetColorSpace(source.get()) != cmsSigRgbData || cmsIsMatrixShaper(source.get())) return;
    const Profile target = wide_profile();
    const cmsUInt32Number type = bgr.depth() == CV_8U ? TYPE_BGR_8 : TYPE_BGR_16;
    const Transform transform(cmsCreateTransform(source.get(), type, target.get(), type,
                                                 INTENT_RELATIVE_COLORIMETRIC, cmsFLAGS_NOCACHE));
    if (!transform) return;
    for (int y = 0; y < bgr.rows; ++y)
        cmsDoTransform(transform.get(), bgr.ptr(y), bgr.ptr(y), static_cast<cmsUInt32Number>(bgr.cols));
}

// Decoders print what they think of a damaged file on standard error, whatever they are told; what is wrong is said by our own message.
class Hush {
  public:
    Hush() : kept_(::fcntl(STDERR_FILENO, F_DUPFD_CLOEXEC, 3)) {
        if (kept_ < 0) return;
        if (const int nowhere = ::open("/dev/null", O_WRONLY | O_CLOEXEC); nowhere >= 0) {
            ::dup2(nowhere, STDERR_FILENO);
            ::close(nowhere);
        }
    }
    ~Hush() {
        if (kept_ < 0) return;
        ::dup2(kept_, STDERR_FILENO);
        ::close(kept_);
    }
    Hush(const Hush&) = delete;
    Hush& operator=(const Hush&) = delete;

  private:
    int kept_;
};

}  // namespace

Result<Photo> decode_photo(std::span<const std::uint8_t> bytes, const std::string& source,
                           const PhotoOptions& options) {
    const Result<Container> container = read_container(bytes, source);
    if (!container) return container.error();

    Photo photo;
    photo.linear = options.linear;
    photo.camera = container->camera;
    photo.focal_35mm = container->focal_35mm;
    photo.source = source;
    try {
        const Hush hush;
        const cv::Mat view(1, static_cast<int>(bytes.size()), CV_8U, const_cast<std::uint8_t*>(bytes.data()));
        photo.bgr = cv::imdecode(view, cv::IMREAD_ANYDEPTH | cv::IMREAD_COLOR);
    } catch (const cv::Exception&) {
        photo.bgr.release();
    }
    if (photo.bgr.empty() || (photo.bgr.depth() != CV_8U && photo.bgr.depth() != CV_16U))
        return Error{Reason::bad_format, "the picture in the file can't be decoded", source,
                     "save or send the photo again, as JPEG, PNG or TIFF with 8 or 16 bits"};
    if (!photo.linear) honour_profile(container->icc, photo.bgr);
    return photo;
}

Result<Photo> load_photo(const std::filesystem::path& path, const PhotoOptions& options) {
    std::error_code code;
    if (!std::filesystem::exists(path, code))
        return Error{Reason::not_found, "there is no such photo", path.string(), "check the name"};
    if (std::filesystem::is_directory(path, code))
        return Error{Reason::bad_format, "this is a folder, not a photo", path.string(), "name one photo in it"};
    std::ifstream in(path, std::ios::binary);
    std::vector<std::uint8_t> bytes;
    if (in) bytes.assign(std::istreambuf_iterator<char>(in), {});
    if (!in)
        return Error{Reason::bad_format, "the photo can't be read", path.string(), "check that you may read it"};
    return decode_photo(bytes, path.string(), options);
}

}  // namespace bindhue::capture

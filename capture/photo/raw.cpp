#include "photo/decoders.hpp"

#ifdef BINDHUE_RAW
#include <algorithm>
#include <array>
#include <cmath>
#include <memory>

#include <libraw.h>
#include <opencv2/core.hpp>

#include "photo/container.hpp"
#endif

namespace bindhue::capture {

#ifndef BINDHUE_RAW

Result<Decoded> decode_raw(std::span<const std::uint8_t>, const std::string& where) {
    return Error{
        Reason::bad_format, "this may be a camera's raw file, and this build of bindhue cannot read those",
        where,
        "build with -DBINDHUE_RAW=ON and LibRaw installed, or develop the file to a linear 16-bit TIFF and "
        "read that with --linear"};
}

#else

namespace {

// The level at which photosites pile up, if it lies below what the file calls white: there the sensor is full.
// Few cameras fill the scale that their files state, and what lies at their own limit is not a measurement.
// Counted from black, as LibRaw wants it; 0 where the stated level stands.
int early_saturation(const LibRaw& raw) {
    const auto& data = raw.imgdata;
    const unsigned stated = data.color.maximum;
    if (data.rawdata.raw_image == nullptr) return 0;
    std::vector<std::uint32_t> count(65536, 0);
    const std::size_t pitch = data.sizes.raw_pitch / sizeof(ushort);
    for (std::size_t y = data.sizes.top_margin;
         y < std::size_t{data.sizes.top_margin} + data.sizes.height && y < data.sizes.raw_height; ++y)
        for (std::size_t x = data.sizes.left_margin;
             x < std::size_t{data.sizes.left_margin} + data.sizes.width && x < data.sizes.raw_width; ++x)
            ++count[data.rawdata.raw_image[y * pitch + x]];
    std::size_t top = 65535;
    while (top > 0 && count[top] == 0) --top;
    // One level holding a thousandth of all sites, at the very top of them, does not come about by light (guess).
    const std::size_t all = std::size_t{data.sizes.width} * data.sizes.height;
    if (top >= stated || top < stated / 2 || top <= data.color.black || count[top] * std::size_t{1000} < all)
        return 0;
    return static_cast<int>(top - data.color.black);
}

}  // namespace

Result<Decoded> decode_raw(std::span<const std::uint8_t> bytes, const std::string& where) {
    const auto refused = [&](const std::string& what) {
        return Error{
            Reason::bad_format, what, where,
            "copy the file from the camera again, or develop it to a linear 16-bit TIFF and read that with "
            "--linear"};
    };
    const auto raw = std::make_unique<LibRaw>();
    int faults = 0;
    raw->set_dataerror_handler([](void* counter, const char*, int) { ++*static_cast<int*>(counter); },
                               &faults);
    auto& params = raw->imgdata.params;
    params.max_raw_memory_mb = 1200;
    params.output_color = 0;
    params.output_bps = 16;
    params.gamm[0] = params.gamm[1] = 1;
    params.no_auto_bright = 1;
    params.bright = 1;
    params.adjust_maximum_thr = 0;
    params.use_camera_matrix = 0;
    params.user_qual =
        2;  // patterned pixel grouping: green first, then red and blue by their difference from it
    // The channels are made smaller so as to agree on greys, never larger: nothing is clipped that was not.
    params.highlight = 1;
    params.half_size = 0;

    int code = raw->open_buffer(const_cast<std::uint8_t*>(bytes.data()), bytes.size());
    if (code == LIBRAW_FILE_UNSUPPORTED)
        return Error{Reason::bad_format, "this is not a photo that can be read", where,
                     "use JPEG, PNG, TIFF, HEIC, DNG or the camera's raw file"};
    if (code != LIBRAW_SUCCESS)
        return refused(std::string("the raw file is damaged (") + libraw_strerror(code) + ")");
    const auto& data = raw->imgdata;
    if (const Status fits = check_size(data.sizes.raw_width, data.sizes.raw_height, 16, bytes.size(), where);
        !fits)
        return fits.error();
    if (data.idata.colors != 3) return refused("the camera's sensor is not one of red, green and blue");
    code = raw->unpack();
    if (code != LIBRAW_SUCCESS)
        return refused(std::string("the raw file is damaged (") + libraw_strerror(code) + ")");
    if (faults > 0) return refused("the raw file is cut short or damaged");

    std::array<double, 3> balance{1, 1, 1};
    for (std::size_t c = 0; c < 3; ++c) {
        const double as_shot = data.color.cam_mul[c], usual = data.color.pre_mul[c];
        balance[c] = as_shot > 0 ? as_shot : usual;
    }
    const double most = *std::max_element(balance.begin(), balance.end()),
                 least = *std::min_element(balance.begin(), balance.end());
    // Gains further apart than any light makes them are nonsense in the file.
    if (!(least > 0) || !std::isfinite(most) || most > 20 * least) balance = {1, 1, 1};
    for (std::size_t c = 0; c < 3; ++c) params.user_mul[c] = static_cast<float>(balance[c]);
    params.user_mul[3] = params.user_mul[1];
    params.user_sat = early_saturation(*raw);

    code = raw->dcraw_process();
    if (code != LIBRAW_SUCCESS || faults > 0)
        return refused(std::string("the raw file can't be developed (") + libraw_strerror(code) + ")");
    int width = 0, height = 0, colours = 0, bits = 0;
    raw->get_mem_image_format(&width, &height, &colours, &bits);
    if (width <= 0 || height <= 0 || colours != 3 || bits != 16)
        return refused("the raw file can't be developed");
    Decoded out;
    out.bgr.create(height, width, CV_16UC3);
    if (raw->copy_mem_image(out.bgr.data, static_cast<int>(out.bgr.step[0]), 1) != LIBRAW_SUCCESS)
        return refused("the raw file can't be developed");
    const double top = *std::max_element(balance.begin(), balance.end());
    out.exif.camera = data.idata.model;
    if (const std::string maker = data.idata.make; !maker.empty() && !out.exif.camera.starts_with(maker))
        out.exif.camera = out.exif.camera.empty() ? maker : maker + " " + out.exif.camera;
    out.exif.focal_35mm = data.lens.FocalLengthIn35mmFormat;
    raw->recycle();
    cv::multiply(out.bgr, cv::Scalar(top / balance[2], top / balance[1], top / balance[0]), out.bgr);
    out.linear = true;
    return out;
}

#endif

}  // namespace bindhue::capture

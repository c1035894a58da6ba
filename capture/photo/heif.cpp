#include "photo/decoders.hpp"

#ifdef BINDHUE_HEIF
#include <algorithm>
#include <cmath>
#include <memory>

#include <libheif/heif.h>
#include <opencv2/imgproc.hpp>

#include "photo/container.hpp"
#endif

namespace bindhue::capture {

#ifndef BINDHUE_HEIF

Result<Decoded> decode_heif(std::span<const std::uint8_t>, const std::string& where) {
    return Error{Reason::bad_format, "this is a HEIC photo, and this build of bindhue cannot read HEIC",
                 where, "build with -DBINDHUE_HEIF=ON and libheif installed, or send the photo as JPEG"};
}

#else

namespace {

struct Free {
    void operator()(heif_context* p) const { heif_context_free(p); }
    void operator()(heif_image_handle* p) const { heif_image_handle_release(p); }
    void operator()(heif_image* p) const { heif_image_release(p); }
    void operator()(heif_decoding_options* p) const { heif_decoding_options_free(p); }
    void operator()(heif_color_profile_nclx* p) const { heif_nclx_color_profile_free(p); }
};
template <class T>
using Owned = std::unique_ptr<T, Free>;

// Rec. ITU-R BT.2100-2: display light (PQ, as a share of 1000 cd/m2; table 4) or scene light (HLG, table 5) of a signal 0..1.
double light_of_pq(double signal) {
    constexpr double m1 = 2610.0 / 16384, m2 = 2523.0 / 4096 * 128, c1 = 3424.0 / 4096,
                     c2 = 2413.0 / 4096 * 32, c3 = 2392.0 / 4096 * 32;
    const double p = std::pow(signal, 1 / m2);
    return 10.0 * std::pow(std::max(p - c1, 0.0) / (c2 - c3 * p), 1 / m1);
}
double light_of_hlg(double signal) {
    constexpr double a = 0.17883277, b = 1 - 4 * a, c = 0.55991073;
    return signal <= 0.5 ? signal * signal / 3 : (std::exp((signal - c) / a) + b) / 12;
}
double srgb_curve(double light) {
    return light <= 0.0031308 ? 12.92 * light : 1.055 * std::pow(light, 1 / 2.4) - 0.055;
}

// Samples of `bits` bits to 16, through the sRGB curve where the file's own is one for high dynamic range.
std::vector<std::uint16_t> sixteen_bits(int bits, heif_transfer_characteristics transfer) {
    const std::size_t levels = std::size_t{1} << static_cast<unsigned>(bits);
    std::vector<std::uint16_t> out(levels);
    for (std::size_t i = 0; i < levels; ++i) {
        double v = static_cast<double>(i) / static_cast<double>(levels - 1);
        if (transfer == heif_transfer_characteristic_ITU_R_BT_2100_0_PQ) v = srgb_curve(light_of_pq(v));
        if (transfer == heif_transfer_characteristic_ITU_R_BT_2100_0_HLG) v = srgb_curve(light_of_hlg(v));
        out[i] = static_cast<std::uint16_t>(std::lround(65535 * std::clamp(v, 0.0, 1.0)));
    }
    return out;
}

void read_metadata(const heif_image_handle* handle, Decoded& out) {
    out.icc.resize(heif_image_handle_get_raw_color_profile_size(handle));
    if (!out.icc.empty() &&
        heif_image_handle_get_raw_color_profile(handle, out.icc.data()).code != heif_error_Ok)
        out.icc.clear();
    heif_item_id id = 0;
    if (heif_image_handle_get_list_of_metadata_block_IDs(handle, "Exif", &id, 1) != 1) return;
    std::vector<std::uint8_t> exif(heif_image_handle_get_metadata_size(handle, id));
    if (exif.size() < 4 || heif_image_handle_get_metadata(handle, id, exif.data()).code != heif_error_Ok)
        return;
    // ISO/IEC 23008-12, A.2.1: four bytes say how far behind them the TIFF header starts.
    const std::size_t offset = 4 + ((std::size_t{exif[0]} << 24U) | (std::size_t{exif[1]} << 16U) |
                                    (std::size_t{exif[2]} << 8U) | exif[3]);
    if (offset < exif.size()) out.exif = read_exif(TiffView(std::span(exif).subspan(offset)));
    out.exif.orientation = 1;
}

}  // namespace

Result<Decoded> decode_heif(std::span<const std::uint8_t> bytes, const std::string& where) {
    const auto refused = [&](const heif_error& error) {
        return Error{Reason::bad_format,
                     std::string("the HEIC photo can't be decoded (") +
                         (error.message == nullptr ? "no reason given" : error.message) + ")",
                     where, "copy the photo again, or send it as JPEG"};
    };
    const Owned<heif_context> context(heif_context_alloc());
    if (!context) return refused({heif_error_Memory_allocation_error, heif_suberror_Unspecified, "memory"});
    heif_error error =
        heif_context_read_from_memory_without_copy(context.get(), bytes.data(), bytes.size(), nullptr);
    if (error.code != heif_error_Ok) return refused(error);
    heif_image_handle* raw_handle = nullptr;
    error = heif_context_get_primary_image_handle(context.get(), &raw_handle);
    const Owned<heif_image_handle> handle(raw_handle);
    if (error.code != heif_error_Ok) return refused(error);
    const int width = heif_image_handle_get_width(handle.get()),
              height = heif_image_handle_get_height(handle.get()),
              bits = heif_image_handle_get_luma_bits_per_pixel(handle.get());
    if (width <= 0 || height <= 0 || bits < 8 || bits > 16)
        return refused({heif_error_Invalid_input, heif_suberror_Unspecified, "size or depth not said"});
    if (const Status fits = check_size(static_cast<std::uint64_t>(width), static_cast<std::uint64_t>(height),
                                       bits, bytes.size(), where);
        !fits)
        return fits.error();

    // A picture put together from tiles says its size again; then it must not say more.
    heif_context_set_maximum_image_size_limit(context.get(), std::max(width, height) + 1);

    Decoded out;
    read_metadata(handle.get(), out);
    heif_color_profile_nclx* raw_nclx = nullptr;
    heif_image_handle_get_nclx_color_profile(handle.get(), &raw_nclx);
    const Owned<heif_color_profile_nclx> nclx(raw_nclx);
    const heif_transfer_characteristics transfer =
        nclx ? nclx->transfer_characteristics : heif_transfer_characteristic_unspecified;
    out.linear = transfer == heif_transfer_characteristic_linear;

    const Owned<heif_decoding_options> options(heif_decoding_options_alloc());
    // Else a picture with lost parts would come with a warning instead of an error.
    options->strict_decoding = 1;
    heif_image* raw_image = nullptr;
    error = heif_decode_image(handle.get(), &raw_image, heif_colorspace_RGB,
                              bits == 8 ? heif_chroma_interleaved_RGB : heif_chroma_interleaved_RRGGBB_LE,
                              options.get());
    const Owned<heif_image> image(raw_image);
    if (error.code != heif_error_Ok) return refused(error);
    if (heif_image_get_decoding_warnings(image.get(), 0, &error, 1) > 0) return refused(error);
    int stride = 0;
    const std::uint8_t* pixels =
        heif_image_get_plane_readonly(image.get(), heif_channel_interleaved, &stride);
    const int columns = heif_image_get_width(image.get(), heif_channel_interleaved),
              rows = heif_image_get_height(image.get(), heif_channel_interleaved);
    if (pixels == nullptr || columns != width || rows != height)
        return refused(
            {heif_error_Invalid_input, heif_suberror_Unspecified, "the picture is not of the size said"});
    if (bits == 8) {
        const cv::Mat rgb(rows, columns, CV_8UC3, const_cast<std::uint8_t*>(pixels),
                          static_cast<std::size_t>(stride));
        cv::cvtColor(rgb, out.bgr, cv::COLOR_RGB2BGR);
        return out;
    }
    const std::vector<std::uint16_t> levels = sixteen_bits(bits, transfer);
    out.bgr.create(rows, columns, CV_16UC3);
    for (int y = 0; y < rows; ++y) {
        const std::uint8_t* from = pixels + static_cast<std::ptrdiff_t>(y) * stride;
        auto* to = out.bgr.ptr<cv::Vec3w>(y);
        for (int x = 0; x < columns; ++x, from += 6)
            for (int c = 0; c < 3; ++c) {
                const std::size_t level = from[2 * c] | (std::size_t{from[2 * c + 1]} << 8U);
                to[x][2 - c] = levels[std::min(level, levels.size() - 1)];
            }
    }
    return out;
}

#endif

}  // namespace bindhue::capture

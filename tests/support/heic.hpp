// HEIC files made in memory by libheif's own encoder, where the machine has one.
#pragma once

#include <optional>

#include <libheif/heif.h>
#include <opencv2/core.hpp>

#include "support/image_bytes.hpp"

struct HeicOptions {
    int bits = 8;
    int orientation = 1;  // as the file's turns and mirrors
    std::optional<heif_transfer_characteristics> transfer;
    ImageBytes icc;
    ImageBytes exif;  // a TIFF header and what follows
};

// picture: CV_8UC3 or, for more bits, CV_16UC3 at full scale 65535; blue first. Nothing if there is no encoder for HEVC.
inline std::optional<ImageBytes> heic(const cv::Mat& picture, const HeicOptions& options = {}) {
    heif_context* context = heif_context_alloc();
    heif_encoder* encoder = nullptr;
    if (heif_context_get_encoder_for_format(context, heif_compression_HEVC, &encoder).code != heif_error_Ok) {
        heif_context_free(context);
        return std::nullopt;
    }
    heif_encoder_set_lossy_quality(encoder, 100);
    heif_encoder_set_parameter_string(encoder, "chroma", "444");
    heif_encoder_set_parameter_string(encoder, "preset", "ultrafast");
    heif_image* image = nullptr;
    heif_image_create(picture.cols, picture.rows, heif_colorspace_RGB,
                      options.bits == 8 ? heif_chroma_interleaved_RGB : heif_chroma_interleaved_RRGGBB_LE,
                      &image);
    heif_image_add_plane(image, heif_channel_interleaved, picture.cols, picture.rows, options.bits);
    int stride = 0;
    std::uint8_t* plane = heif_image_get_plane(image, heif_channel_interleaved, &stride);
    for (int y = 0; y < picture.rows; ++y)
        for (int x = 0; x < picture.cols; ++x)
            for (int c = 0; c < 3; ++c) {
                std::uint8_t* row = plane + static_cast<std::ptrdiff_t>(y) * stride;
                if (options.bits == 8) {
                    row[3 * x + c] = picture.at<cv::Vec3b>(y, x)[2 - c];
                } else {
                    const double full = (1 << options.bits) - 1;
                    const auto v =
                        static_cast<unsigned>(picture.at<cv::Vec3w>(y, x)[2 - c] / 65535.0 * full + 0.5);
                    row[6 * x + 2 * c] = static_cast<std::uint8_t>(v & 0xFFU);
                    row[6 * x + 2 * c + 1] = static_cast<std::uint8_t>(v >> 8U);
                }
            }
    if (!options.icc.empty())
        heif_image_set_raw_color_profile(image, "prof", options.icc.data(), options.icc.size());
    heif_color_profile_nclx* nclx = heif_nclx_color_profile_alloc();
    heif_encoding_options* encoding = heif_encoding_options_alloc();
    encoding->image_orientation = static_cast<heif_orientation>(options.orientation);
    if (options.transfer) {
        nclx->transfer_characteristics = *options.transfer;
        heif_image_set_nclx_color_profile(image, nclx);
        encoding->output_nclx_profile = nclx;
        encoding->macOS_compatibility_workaround_no_nclx_profile = 0;
    }
    heif_image_handle* handle = nullptr;
    ImageBytes out;
    if (heif_context_encode_image(context, image, encoder, encoding, &handle).code == heif_error_Ok) {
        if (!options.exif.empty())
            heif_context_add_exif_metadata(context, handle, options.exif.data(),
                                           static_cast<int>(options.exif.size()));
        heif_writer writer{1, [](heif_context*, const void* data, size_t size, void* to) {
                               const auto* bytes = static_cast<const std::uint8_t*>(data);
                               static_cast<ImageBytes*>(to)->assign(bytes, bytes + size);
                               return heif_error{heif_error_Ok, heif_suberror_Unspecified, "ok"};
                           }};
        heif_context_write(context, &writer, &out);
    }
    if (handle != nullptr) heif_image_handle_release(handle);
    heif_encoding_options_free(encoding);
    heif_nclx_color_profile_free(nclx);
    heif_image_release(image);
    heif_encoder_release(encoder);
    heif_context_free(context);
    return out;
}

// Image files made in memory, for what decodes them.
#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

#include <opencv2/imgcodecs.hpp>

using ImageBytes = std::vector<std::uint8_t>;

inline ImageBytes encoded(const cv::Mat& picture, const std::string& ending,
                          const std::vector<int>& parameters = {}) {
    ImageBytes out;
    cv::imencode(ending, picture, out, parameters);
    return out;
}

// A segment put in after the start of a JPEG. body: at most 65533 bytes.
inline ImageBytes with_segment(const ImageBytes& jpeg, std::uint8_t marker, const ImageBytes& body) {
    const std::size_t length = body.size() + 2;
    ImageBytes out{0xFF,
                   0xD8,
                   0xFF,
                   marker,
                   static_cast<std::uint8_t>(length >> 8U),
                   static_cast<std::uint8_t>(length & 0xFFU)};
    out.resize(out.size() + body.size() + jpeg.size() - 2);
    std::copy(jpeg.begin() + 2, jpeg.end(), std::copy(body.begin(), body.end(), out.begin() + 6));
    return out;
}

// EXIF (CIPA DC-008) with tag 0x0112, orientation, alone.
inline ImageBytes with_orientation(const ImageBytes& jpeg, std::uint8_t orientation) {
    return with_segment(jpeg, 0xE1, {'E',  'x',  'i', 'f', 0, 0, 'M', 'M', 0, 42,          0, 0, 0, 8, 0, 1,
                                     0x01, 0x12, 0,   3,   0, 0, 0,   1,   0, orientation, 0, 0, 0, 0, 0, 0});
}

inline ImageBytes with_profile(const ImageBytes& jpeg, const ImageBytes& profile) {
    ImageBytes body{'I', 'C', 'C', '_', 'P', 'R', 'O', 'F', 'I', 'L', 'E', 0, 1, 1};
    body.resize(14 + profile.size());
    std::copy(profile.begin(), profile.end(), body.begin() + 14);
    return with_segment(jpeg, 0xE2, body);
}

// The size that a JPEG, PNG or little-endian TIFF of OpenCV's says that it has, changed to side x side.
inline ImageBytes with_said_size(ImageBytes file, std::uint16_t side) {
    const auto high = static_cast<std::uint8_t>(side >> 8U), low = static_cast<std::uint8_t>(side & 0xFFU);
    if (file[0] == 0xFF) {
        for (std::size_t at = 2; at + 9 < file.size();
             at += 2 + std::size_t{file[at + 2]} * 256 + file[at + 3])
            if (file[at + 1] == 0xC0) {
                file[at + 5] = file[at + 7] = high;
                file[at + 6] = file[at + 8] = low;
                break;
            }
    } else if (file[0] == 0x89) {
        file[18] = file[22] = high;
        file[19] = file[23] = low;
    } else {
        const std::size_t directory = file[4] + 256U * file[5] + 65536U * file[6];
        for (std::size_t i = 0; i < file[directory]; ++i) {
            const std::size_t at = directory + 2 + 12 * i;
            if (file[at + 1] == 1 && file[at] <= 1) {
                file[at + 8] = low;
                file[at + 9] = high;
            }
        }
    }
    return file;
}

// Image files made in memory, for what decodes them.
#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

#include <zlib.h>
#include <opencv2/imgcodecs.hpp>

using ImageBytes = std::vector<std::uint8_t>;

// The same noise every time, over the whole scale of the type's depth.
inline cv::Mat noisy(int type, const cv::Size& size = {80, 48}) {
    cv::Mat m(size, type);
    cv::theRNG().state = 20261125;
    cv::randu(m, cv::Scalar::all(0), cv::Scalar::all(CV_MAT_DEPTH(type) == CV_8U ? 256 : 65536));
    return m;
}

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

// A chunk put in after the head of a PNG.
inline ImageBytes with_chunk(const ImageBytes& png, const std::string& name, const ImageBytes& body) {
    ImageBytes chunk(4);
    chunk.insert(chunk.end(), name.begin(), name.end());
    chunk.insert(chunk.end(), body.begin(), body.end());
    const auto check =
        static_cast<std::uint32_t>(crc32(0, chunk.data() + 4, static_cast<uInt>(chunk.size() - 4)));
    for (unsigned i = 0; i < 4; ++i) {
        chunk[i] = static_cast<std::uint8_t>(body.size() >> (24 - 8 * i));
        chunk.push_back(static_cast<std::uint8_t>(check >> (24 - 8 * i)));
    }
    ImageBytes out = png;
    out.insert(out.begin() + 33, chunk.begin(), chunk.end());
    return out;
}

// A TIFF of OpenCV's (little-endian) with tag 0x0112, orientation: its directory written anew at the end.
inline ImageBytes with_tiff_orientation(ImageBytes tiff, std::uint8_t orientation) {
    const std::size_t old = tiff[4] + 256U * tiff[5] + 65536U * tiff[6],
                      entries = tiff[old] + 256U * tiff[old + 1];
    ImageBytes directory(2);
    const ImageBytes entry{0x12, 0x01, 3, 0, 1, 0, 0, 0, orientation, 0, 0, 0};
    bool written = false;
    const auto add = [&] {
        directory.insert(directory.end(), entry.begin(), entry.end());
        written = true;
    };
    for (std::size_t i = 0; i < entries; ++i) {
        const std::uint8_t* from = tiff.data() + old + 2 + 12 * i;
        const unsigned tag = from[0] + 256U * from[1];
        if (tag >= 0x0112 && !written) add();
        if (tag != 0x0112) directory.insert(directory.end(), from, from + 12);
    }
    if (!written) add();
    directory[0] = static_cast<std::uint8_t>((directory.size() - 2) / 12);
    directory.resize(directory.size() + 4);
    if (tiff.size() % 2 != 0) tiff.push_back(0);
    for (unsigned i = 0; i < 4; ++i) tiff[4 + i] = static_cast<std::uint8_t>(tiff.size() >> (8 * i));
    tiff.insert(tiff.end(), directory.begin(), directory.end());
    return tiff;
}

// EXIF (CIPA DC-008) with tag 0x0112, orientation, alone; in a JPEG, PNG or TIFF.
inline ImageBytes with_orientation(const ImageBytes& file, std::uint8_t orientation) {
    const ImageBytes exif{'M', 'M', 0, 42, 0, 0, 0,           8, 0, 1, 0x01, 0x12, 0,
                          3,   0,   0, 0,  1, 0, orientation, 0, 0, 0, 0,    0,    0};
    if (file[0] == 0x89) return with_chunk(file, "eXIf", exif);
    if (file[0] == 'I') return with_tiff_orientation(file, orientation);
    ImageBytes body{'E', 'x', 'i', 'f', 0, 0};
    body.insert(body.end(), exif.begin(), exif.end());
    return with_segment(file, 0xE1, body);
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

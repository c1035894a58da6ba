// A DNG made from known numbers: one uncompressed colour filter array of 16 bits, and no more tags than the format asks for
// (DNG specification 1.6; TIFF 6.0).
#pragma once

#include <algorithm>
#include <array>
#include <cstdint>
#include <string>
#include <vector>

#include "support/image_bytes.hpp"

struct Dng {
    int width = 0, height = 0;          // even
    std::vector<std::uint16_t> mosaic;  // row by row: red green / green blue
    std::uint16_t black = 512, white = 16000;
    std::array<std::uint32_t, 3> neutral{500, 1000, 600};  // as-shot response to grey, thousandths
    std::uint16_t orientation = 1;
    std::string camera = "Invented One";
    std::uint32_t said_width = 0, said_height = 0;  // if not 0: what the file claims

    ImageBytes bytes() const;
};

namespace dng_detail {

struct Writer {
    ImageBytes out;
    void u16(std::uint32_t v) {
        out.push_back(static_cast<std::uint8_t>(v & 0xFFU));
        out.push_back(static_cast<std::uint8_t>((v >> 8U) & 0xFFU));
    }
    void u32(std::uint32_t v) {
        u16(v & 0xFFFFU);
        u16(v >> 16U);
    }
};

struct Field {
    std::uint32_t tag = 0, type = 0, count = 0;
    ImageBytes value;
};

inline Field field(std::uint32_t tag, std::uint32_t type, const std::vector<std::uint32_t>& values) {
    Writer w;
    for (const std::uint32_t v : values) {
        if (type == 1)
            w.out.push_back(static_cast<std::uint8_t>(v));
        else if (type == 3)
            w.u16(v);
        else
            w.u32(v);
    }
    const std::size_t unit = type == 5 || type == 10 ? 2 : 1;
    return {tag, type, static_cast<std::uint32_t>(values.size() / unit), w.out};
}

}  // namespace dng_detail

inline ImageBytes Dng::bytes() const {
    using dng_detail::field;
    const auto w = static_cast<std::uint32_t>(width), h = static_cast<std::uint32_t>(height);
    dng_detail::Field model{0x0110, 2, static_cast<std::uint32_t>(camera.size() + 1), {}};
    for (const char c : camera) model.value.push_back(static_cast<std::uint8_t>(c));
    model.value.push_back(0);
    dng_detail::Field unique = model;
    unique.tag = 0xC614;
    constexpr std::uint32_t minus_one = 0xFFFFFFFF;
    std::vector<dng_detail::Field> fields{
        field(0x00FE, 4, {0}),  // a full picture
        field(0x0100, 4, {said_width != 0 ? said_width : w}),
        field(0x0101, 4, {said_height != 0 ? said_height : h}), field(0x0102, 3, {16}),
        field(0x0103, 3, {1}),         // not compressed
        field(0x0106, 3, {32803}),     // colour filter array
        model, field(0x0111, 4, {0}),  // where the strip lies, below
        field(0x0112, 3, {orientation}), field(0x0115, 3, {1}), field(0x0116, 4, {h}),
        field(0x0117, 4, {w * h * 2}), field(0x828D, 3, {2, 2}),
        field(0x828E, 1, {0, 1, 1, 2}),  // red green / green blue
        field(0xC612, 1, {1, 4, 0, 0}), unique, field(0xC61A, 3, {black}), field(0xC61D, 3, {white}),
        // Some colour matrix has to be there. This one is far from none, so that its use would show.
        field(
            0xC621, 10,
            {9, 10, minus_one * 3, 10, minus_one, 10, minus_one * 4, 10, 13, 10, 1, 10, 1, 10, 2, 10, 6, 10}),
        field(0xC628, 5, {neutral[0], 1000, neutral[1], 1000, neutral[2], 1000}), field(0xC65A, 3, {21})};
    dng_detail::Writer file;
    file.out = {'I', 'I', 42, 0, 8, 0, 0, 0};
    file.u16(static_cast<std::uint32_t>(fields.size()));
    std::uint32_t place = 8 + 2 + 12 * static_cast<std::uint32_t>(fields.size()) + 4, strip = place;
    for (const auto& f : fields)
        if (f.value.size() > 4) strip += static_cast<std::uint32_t>(f.value.size() + f.value.size() % 2);
    ImageBytes values;
    for (auto& f : fields) {
        if (f.tag == 0x0111) f = field(0x0111, 4, {strip});
        file.u16(f.tag);
        file.u16(f.type);
        file.u32(f.count);
        if (f.value.size() > 4) {
            file.u32(place + static_cast<std::uint32_t>(values.size()));
            values.insert(values.end(), f.value.begin(), f.value.end());
            if (values.size() % 2 != 0) values.push_back(0);
        } else {
            f.value.resize(4);
            file.out.insert(file.out.end(), f.value.begin(), f.value.end());
        }
    }
    file.u32(0);
    file.out.insert(file.out.end(), values.begin(), values.end());
    for (const std::uint16_t v : mosaic) file.u16(v);
    return file.out;
}

// What a sensor under a red, green and blue mosaic keeps of a picture of camera RGB (CV_16UC3, blue first, full scale 65535).
inline Dng mosaicked(const cv::Mat& picture, Dng out = {}) {
    out.width = picture.cols;
    out.height = picture.rows;
    out.mosaic.clear();
    for (int y = 0; y < picture.rows; ++y)
        for (int x = 0; x < picture.cols; ++x) {
            const int channel = 2 - (y % 2 + x % 2);  // red at 0, 0; blue at 1, 1
            const double v = picture.at<cv::Vec3w>(y, x)[channel] / 65535.0;
            out.mosaic.push_back(cv::saturate_cast<std::uint16_t>(out.black + v * (out.white - out.black)));
        }
    return out;
}

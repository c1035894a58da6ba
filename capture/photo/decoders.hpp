// A decoder for each format of file, behind one shape: bytes in, pixels as they are stored out.
//
// None of them prints, and none keeps quiet of a damaged picture: what a decoder fills in for lost data (grey,
// the row above) would be measured as if it had been seen. Errors: bad_format.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include <opencv2/core/mat.hpp>

#include "colour/result.hpp"
#include "photo/exif.hpp"

namespace bindhue::capture {

struct Decoded {
    cv::Mat bgr;                    // CV_8UC3 or CV_16UC3
    std::vector<std::uint8_t> icc;  // where the decoder finds it rather than the container
    Exif exif;                      // likewise; orientation is what is still to be done
    bool linear = false;
};

// JPEG by libjpeg-turbo; 8 bits, grey or YCbCr or RGB.
Result<Decoded> decode_jpeg(std::span<const std::uint8_t> bytes, const std::string& where);

// PNG by libpng; transparency is left out of account.
Result<Decoded> decode_png(std::span<const std::uint8_t> bytes, const std::string& where);

// TIFF by libtiff: RGB or grey of 8 or 16 bits, in strips or tiles, however compressed. (OpenCV prints what it thinks of
// a damaged one.)
Result<Decoded> decode_tiff(std::span<const std::uint8_t> bytes, const std::string& where);

// HEIC and its kin (ISO/IEC 23008-12) by libheif, the primary picture. Comes upright: the file's own turns
// and mirrors are done, and its EXIF orientation, which repeats them, is not. More than 8 bits come as 16.
// A curve for high dynamic range (Rec. ITU-R BT.2100, PQ or HLG) is undone and the sRGB curve put in its
// place, since the card's fit starts from that.
Result<Decoded> decode_heif(std::span<const std::uint8_t> bytes, const std::string& where);

// DNG and cameras' raw files by LibRaw: linear camera RGB in 16 bits, upright, demosaicked, black at 0 and
// saturation at the top of the scale, so that clipped is known in each channel. No colour matrix, no curve,
// no brightening. White balance helps the demosaicking and is then taken out again: the channels are as the
// sensor gave them.
Result<Decoded> decode_raw(std::span<const std::uint8_t> bytes, const std::string& where);

}  // namespace bindhue::capture

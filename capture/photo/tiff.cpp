#include <tiffio.h>

#include <algorithm>
#include <cstring>
#include <memory>
#include <string_view>

#include "photo/container.hpp"
#include "photo/decoders.hpp"

namespace bindhue::capture {
namespace {

struct Source {
    std::span<const std::uint8_t> bytes;
    std::uint64_t at = 0;
    bool pixels_lost = false;
};

Source& source_of(thandle_t handle) { return *static_cast<Source*>(handle); }

tmsize_t give(thandle_t handle, void* to, tmsize_t count) {
    Source& s = source_of(handle);
    const std::uint64_t left = s.at < s.bytes.size() ? s.bytes.size() - s.at : 0;
    const auto n = std::min(static_cast<std::uint64_t>(std::max<tmsize_t>(count, 0)), left);
    std::memcpy(to, s.bytes.data() + (n == 0 ? 0 : s.at), n);
    s.at += n;
    return static_cast<tmsize_t>(n);
}
tmsize_t take_nothing(thandle_t, void*, tmsize_t) { return 0; }
toff_t go(thandle_t handle, toff_t offset, int whence) {
    Source& s = source_of(handle);
    s.at = whence == SEEK_SET ? offset : whence == SEEK_CUR ? s.at + offset : s.bytes.size() + offset;
    return s.at;
}
int leave_open(thandle_t) { return 0; }
toff_t size(thandle_t handle) { return source_of(handle).bytes.size(); }
int show(thandle_t handle, void** base, toff_t* count) {
    // libtiff only reads what is shown so, though its type does not say it.
    *base = const_cast<std::uint8_t*>(source_of(handle).bytes.data());
    *count = source_of(handle).bytes.size();
    return 1;
}
void hide(thandle_t, void*, toff_t) {}

// An answer other than 0: said. What is wrong shows in what the call returns.
int say_nothing(TIFF*, void*, const char*, const char*, va_list) { return 1; }
int note(TIFF*, void* source, const char* module, const char*, va_list) {
    // A JPEG inside goes on after damage with made-up pixels, and only warns.
    if (module != nullptr && std::string_view(module) == "JPEGLib")
        static_cast<Source*>(source)->pixels_lost = true;
    return 1;
}

struct Close {
    void operator()(TIFF* p) const { TIFFClose(p); }
    void operator()(TIFFOpenOptions* p) const { TIFFOpenOptionsFree(p); }
};

struct Kind {
    std::uint32_t width = 0, height = 0;
    std::uint16_t bits = 1, samples = 1, planar = PLANARCONFIG_CONTIG, photometric = 0;
    bool in_planes() const { return planar == PLANARCONFIG_SEPARATE; }
    int colours() const { return photometric == PHOTOMETRIC_RGB ? 3 : 1; }
    std::size_t pixel_bytes() const { return std::size_t{bits} / 8 * (in_planes() ? 1 : samples); }
};

// One row of pixels as the file has them, `plane` alone or all together, into a row of blue, green and red.
template <class Value>
void put(const Kind& kind, const std::uint8_t* from, std::size_t count, std::uint16_t plane, Value* to) {
    const std::size_t step = kind.pixel_bytes();
    const bool inverted = kind.photometric == PHOTOMETRIC_MINISWHITE;
    for (std::size_t x = 0; x < count; ++x, from += step, to += 3)
        for (int c = 0; c < 3; ++c) {
            const int colour = kind.colours() == 3 ? c : 0;
            if (kind.in_planes() && colour != plane) continue;
            Value v{};
            std::memcpy(&v, from + (kind.in_planes() ? 0 : sizeof(Value) * static_cast<std::size_t>(colour)),
                        sizeof v);
            to[2 - c] = inverted ? static_cast<Value>(~v) : v;
        }
}

void put_row(const Kind& kind, const std::uint8_t* from, std::size_t count, std::uint16_t plane, cv::Mat& bgr,
             std::uint32_t x, std::uint32_t y) {
    const auto row = static_cast<int>(y);
    if (kind.bits == 8) {
        put(kind, from, count, plane, bgr.ptr<std::uint8_t>(row) + std::size_t{3} * x);
    } else {
        put(kind, from, count, plane, bgr.ptr<std::uint16_t>(row) + std::size_t{3} * x);
    }
}

bool read_tiles(TIFF* tiff, const Kind& kind, std::uint16_t plane, cv::Mat& bgr) {
    std::uint32_t width = 0, height = 0;
    TIFFGetField(tiff, TIFFTAG_TILEWIDTH, &width);
    TIFFGetField(tiff, TIFFTAG_TILELENGTH, &height);
    const tmsize_t bytes = TIFFTileSize(tiff), pitch = TIFFTileRowSize(tiff);
    if (width == 0 || height == 0 || bytes <= 0 ||
        static_cast<std::uint64_t>(pitch) < std::uint64_t{width} * kind.pixel_bytes() ||
        static_cast<std::uint64_t>(bytes) < static_cast<std::uint64_t>(pitch) * height)
        return false;
    std::vector<std::uint8_t> tile(static_cast<std::size_t>(bytes));
    for (std::uint32_t y = 0; y < kind.height; y += height)
        for (std::uint32_t x = 0; x < kind.width; x += width) {
            if (TIFFReadTile(tiff, tile.data(), x, y, 0, plane) < 0) return false;
            const std::uint32_t columns = std::min(width, kind.width - x),
                                rows = std::min(height, kind.height - y);
            for (std::uint32_t i = 0; i < rows; ++i)
                put_row(kind, tile.data() + static_cast<std::size_t>(pitch) * i, columns, plane, bgr, x,
                        y + i);
        }
    return true;
}

// By the row: a strip may be the whole picture, and a second copy of it is not wanted.
bool read_rows(TIFF* tiff, const Kind& kind, std::uint16_t plane, cv::Mat& bgr) {
    const tmsize_t bytes = TIFFScanlineSize(tiff);
    if (bytes <= 0 || static_cast<std::uint64_t>(bytes) < std::uint64_t{kind.width} * kind.pixel_bytes())
        return false;
    std::vector<std::uint8_t> row(static_cast<std::size_t>(bytes));
    for (std::uint32_t y = 0; y < kind.height; ++y) {
        if (TIFFReadScanline(tiff, row.data(), y, plane) < 0) return false;
        put_row(kind, row.data(), kind.width, plane, bgr, 0, y);
    }
    return true;
}

}  // namespace

Result<Decoded> decode_tiff(std::span<const std::uint8_t> bytes, const std::string& where) {
    const Error damaged{Reason::bad_format, "the TIFF is damaged", where,
                        "copy the file again, or save it again as TIFF or PNG"};
    Source source{bytes};
    const std::unique_ptr<TIFFOpenOptions, Close> options(TIFFOpenOptionsAlloc());
    TIFFOpenOptionsSetMaxSingleMemAlloc(options.get(), 600'000'000);
    TIFFOpenOptionsSetErrorHandlerExtR(options.get(), say_nothing, &source);
    TIFFOpenOptionsSetWarningHandlerExtR(options.get(), note, &source);
    const std::unique_ptr<TIFF, Close> tiff(TIFFClientOpenExt("photo", "r", &source, give, take_nothing, go,
                                                              leave_open, size, show, hide, options.get()));
    if (!tiff) return damaged;
    Kind kind;
    std::uint16_t format = SAMPLEFORMAT_UINT, compression = COMPRESSION_NONE;
    TIFFGetField(tiff.get(), TIFFTAG_IMAGEWIDTH, &kind.width);
    TIFFGetField(tiff.get(), TIFFTAG_IMAGELENGTH, &kind.height);
    TIFFGetField(tiff.get(), TIFFTAG_PHOTOMETRIC, &kind.photometric);
    TIFFGetFieldDefaulted(tiff.get(), TIFFTAG_BITSPERSAMPLE, &kind.bits);
    TIFFGetFieldDefaulted(tiff.get(), TIFFTAG_SAMPLESPERPIXEL, &kind.samples);
    TIFFGetFieldDefaulted(tiff.get(), TIFFTAG_PLANARCONFIG, &kind.planar);
    TIFFGetFieldDefaulted(tiff.get(), TIFFTAG_SAMPLEFORMAT, &format);
    TIFFGetFieldDefaulted(tiff.get(), TIFFTAG_COMPRESSION, &compression);
    if (kind.photometric == PHOTOMETRIC_YCBCR && compression == COMPRESSION_JPEG) {
        TIFFSetField(tiff.get(), TIFFTAG_JPEGCOLORMODE, JPEGCOLORMODE_RGB);
        kind.photometric = PHOTOMETRIC_RGB;
    }
    const bool known = kind.photometric == PHOTOMETRIC_RGB || kind.photometric == PHOTOMETRIC_MINISBLACK ||
                       kind.photometric == PHOTOMETRIC_MINISWHITE;
    if (!known || (kind.bits != 8 && kind.bits != 16) || kind.samples < kind.colours() || kind.samples > 16 ||
        format != SAMPLEFORMAT_UINT)
        return Error{Reason::bad_format, "the TIFF's pixels are neither RGB nor grey with 8 or 16 bits",
                     where, "save it again as RGB with 8 or 16 bits"};
    if (const Status fits = check_size(kind.width, kind.height, kind.bits, bytes.size(), where); !fits)
        return fits.error();
    Decoded out;
    out.bgr.create(static_cast<int>(kind.height), static_cast<int>(kind.width),
                   kind.bits == 8 ? CV_8UC3 : CV_16UC3);
    const int planes = kind.in_planes() ? kind.colours() : 1;
    for (std::uint16_t plane = 0; plane < planes; ++plane)
        if (!(TIFFIsTiled(tiff.get()) != 0 ? read_tiles(tiff.get(), kind, plane, out.bgr)
                                           : read_rows(tiff.get(), kind, plane, out.bgr)))
            return damaged;
    if (source.pixels_lost) return damaged;
    return out;
}

}  // namespace bindhue::capture

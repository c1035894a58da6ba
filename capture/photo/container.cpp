#include "photo/container.hpp"

#include <algorithm>
#include <array>
#include <cstring>

#include <zlib.h>

namespace bindhue::capture {
namespace {

using Bytes = std::span<const std::uint8_t>;

constexpr std::uint64_t max_bytes_decoded = 600'000'000;  // 200 megapixels of 8 bits, 100 of 16
// Photographs hold well under 50 pixels a byte even when badly squeezed; more than this is a lie, or no photo (guess).
constexpr std::uint64_t most_pixels_a_byte = 300, small_enough = 4'000'000;
constexpr std::size_t max_profile = 4U << 20U;
constexpr std::size_t smallest_raw = 4096;  // no sensor is so small

bool starts_with(Bytes bytes, std::string_view text, std::size_t at = 0) {
    return bytes.size() >= at + text.size() && std::memcmp(bytes.data() + at, text.data(), text.size()) == 0;
}

std::uint32_t big16(Bytes b, std::size_t at) { return (std::uint32_t{b[at]} << 8U) | b[at + 1]; }
std::uint32_t big32(Bytes b, std::size_t at) { return (big16(b, at) << 16U) | big16(b, at + 2); }

Error broken(const std::string& where, std::string what) {
    return {Reason::bad_format, std::move(what), where,
            "save or send the photo again, as JPEG, PNG, TIFF, HEIC or DNG"};
}

Result<Container> read_jpeg(Bytes b, const std::string& where) {
    Container out;
    out.format = ImageFormat::jpeg;
    std::vector<Bytes> profile_parts;
    std::size_t at = 2;
    while (at + 4 <= b.size()) {
        if (b[at] != 0xFF) return broken(where, "the JPEG's segments are damaged");
        const std::uint8_t marker = b[at + 1];
        if (marker == 0xFF) {
            ++at;
            continue;
        }
        if (marker == 0x01 || (marker >= 0xD0 && marker <= 0xD8)) {
            at += 2;
            continue;
        }
        if (marker == 0xD9) break;
        const std::size_t length = big16(b, at + 2);
        if (length < 2 || at + 2 + length > b.size()) return broken(where, "the JPEG is cut short");
        const Bytes body = b.subspan(at + 4, length - 2);
        const bool frame =
            marker >= 0xC0 && marker <= 0xCF && marker != 0xC4 && marker != 0xC8 && marker != 0xCC;
        if (frame && body.size() >= 5) {
            out.height = big16(body, 1);
            out.width = big16(body, 3);
        } else if (marker == 0xE1 && starts_with(body, std::string_view("Exif\0\0", 6))) {
            const TiffView tiff(body.subspan(6));
            if (tiff.valid()) out.exif = read_exif(tiff);
        } else if (marker == 0xE2 && body.size() > 14 &&
                   starts_with(body, std::string_view("ICC_PROFILE\0", 12))) {
            // Parts come in order in every file met; a profile that does not is no profile.
            if (body[12] == profile_parts.size() + 1) profile_parts.push_back(body.subspan(14));
        } else if (marker == 0xDA) {
            // A decoder fills the missing part of a cut file with grey, which would then be measured.
            const Bytes scan = b.subspan(at + 2 + length);
            const std::array<std::uint8_t, 2> end{0xFF, 0xD9};
            if (std::find_end(scan.begin(), scan.end(), end.begin(), end.end()) == scan.end())
                return broken(where, "the JPEG is cut short: it has no end");
            for (const Bytes part : profile_parts)
                if (out.icc.size() + part.size() <= max_profile)
                    out.icc.insert(out.icc.end(), part.begin(), part.end());
            return out;
        }
        at += 2 + length;
    }
    return broken(where, "the JPEG holds no picture");
}

std::vector<std::uint8_t> inflate_profile(Bytes packed) {
    std::vector<std::uint8_t> out(max_profile);
    uLongf size = out.size();
    if (uncompress(out.data(), &size, packed.data(), packed.size()) != Z_OK) return {};
    out.resize(size);
    return out;
}

Result<Container> read_png(Bytes b, const std::string& where) {
    Container out;
    out.format = ImageFormat::png;
    std::size_t at = 8;
    bool ended = false;
    while (at + 12 <= b.size()) {
        const std::size_t length = big32(b, at);
        if (length > b.size() - at - 12) return broken(where, "the PNG is cut short");
        const Bytes body = b.subspan(at + 8, length);
        if (starts_with(b, "IHDR", at + 4) && length >= 13) {
            out.width = big32(body, 0);
            out.height = big32(body, 4);
            out.bits = body[8];
        } else if (starts_with(b, "iCCP", at + 4)) {
            const auto name_end = std::find(body.begin(), body.end(), std::uint8_t{0});
            const auto offset = static_cast<std::size_t>(name_end - body.begin()) + 2;
            if (offset < body.size()) out.icc = inflate_profile(body.subspan(offset));
        } else if (starts_with(b, "eXIf", at + 4)) {
            const TiffView tiff(body);
            if (tiff.valid()) out.exif = read_exif(tiff);
        } else if (starts_with(b, "IEND", at + 4)) {
            ended = true;
            break;
        }
        at += 12 + length;
    }
    if (!ended) return broken(where, "the PNG is cut short: it has no end");
    return out;
}

// DNG (specification 1.6: DNGVersion 0xC612; photometric interpretation 32803, colour filter
// array, and 34892, linear raw; both in TIFF/EP, ISO 12234-2, too), and raw files whose first picture is a
// preview in old-style JPEG (compression 6), which is no picture of a TIFF file that could be decoded.
bool is_raw(const TiffView& tiff) {
    const std::uint32_t root = tiff.first_directory();
    if (tiff.find(root, 0xC612) || tiff.number(root, 0x0103) == 6) return true;
    for (const std::uint32_t directory : tiff.directories()) {
        const std::uint32_t photometric = tiff.number(directory, 0x0106);
        if (photometric == 32803 || photometric == 34892) return true;
    }
    return false;
}

Result<Container> read_tiff(Bytes b, const std::string& where) {
    Container out;
    out.format = ImageFormat::tiff;
    const TiffView tiff(b);
    if (!tiff.valid()) return broken(where, "the TIFF header is damaged");
    const std::uint32_t root = tiff.first_directory();
    if (is_raw(tiff)) {
        out.format = ImageFormat::raw;
        return out;
    }
    if (!tiff.whole(root)) return broken(where, "the TIFF is cut short");
    out.width = tiff.number(root, 0x0100);
    out.height = tiff.number(root, 0x0101);
    out.bits = static_cast<int>(std::min(tiff.number(root, 0x0102), 64U));
    if (const auto icc = tiff.find(root, 0x8773);
        icc && icc->count <= max_profile && (icc->type == 7 || icc->type == 1)) {
        const Bytes raw = tiff.bytes_of(*icc);
        out.icc.assign(raw.begin(), raw.end());
    }
    // A file of tiles is read by the tile, whatever the size of the picture.
    const std::uint64_t tile = std::uint64_t{tiff.number(root, 0x0142)} * tiff.number(root, 0x0143);
    if (tile > small_enough && tile > 4 * std::uint64_t{out.width} * out.height)
        return broken(where, "the TIFF's tiles are larger than its picture");
    out.exif = read_exif(tiff);
    return out;
}

}  // namespace

Status check_size(std::uint64_t width, std::uint64_t height, int bits, std::size_t file_bytes,
                  const std::string& where) {
    if (width == 0 || height == 0) return broken(where, "the picture has no size");
    constexpr std::uint64_t side = 1U << 20U;
    const std::uint64_t bytes_a_pixel = bits > 8 ? 6 : 3;
    if (width > side || height > side || width * height * bytes_a_pixel > max_bytes_decoded)
        return Error{Reason::bad_format,
                     bits > 8 ? "the picture has more than 100 megapixels of 16 bits"
                              : "the picture has more than 200 megapixels",
                     where, "make it smaller, or crop it to the card"};
    if (width * height > small_enough && width * height / most_pixels_a_byte > file_bytes)
        return broken(where, "the file is too small for a picture of " + std::to_string(width) + " x " +
                                 std::to_string(height) + " pixels");
    return ok();
}

Result<Container> read_container(Bytes b, const std::string& where) {
    if (b.empty()) return broken(where, "the file is empty");
    if (starts_with(b, "ftyp", 4)) {
        Container out;
        out.format = starts_with(b, "crx ", 8) ? ImageFormat::raw : ImageFormat::heif;
        return out;
    }
    Result<Container> out = [&]() -> Result<Container> {
        if (starts_with(b, "\xFF\xD8")) return read_jpeg(b, where);
        if (starts_with(b, "\x89PNG\r\n\x1A\n")) return read_png(b, where);
        if (starts_with(b, "II*") || starts_with(b, std::string_view("MM\0*", 4))) return read_tiff(b, where);
        // Many cameras have a raw format of their own: LibRaw knows them.
        if (b.size() < smallest_raw) return broken(where, "this is not a photo that can be read");
        Container raw;
        raw.format = ImageFormat::raw;
        return raw;
    }();
    if (!out || out->format == ImageFormat::raw) return out;
    if (const Status fits = check_size(out->width, out->height, out->bits, b.size(), where); !fits)
        return fits.error();
    return out;
}

}  // namespace bindhue::capture

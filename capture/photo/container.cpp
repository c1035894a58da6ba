#include "photo/container.hpp"

#include <algorithm>
#include <array>
#include <cstring>
#include <optional>

#include <zlib.h>

namespace bindhue::capture {
namespace {

using Bytes = std::span<const std::uint8_t>;

constexpr std::uint64_t max_pixels = 200'000'000;
constexpr std::size_t max_profile = 4U << 20U;

bool starts_with(Bytes bytes, std::string_view text, std::size_t at = 0) {
    return bytes.size() >= at + text.size() && std::memcmp(bytes.data() + at, text.data(), text.size()) == 0;
}

std::uint32_t big16(Bytes b, std::size_t at) { return (std::uint32_t{b[at]} << 8U) | b[at + 1]; }
std::uint32_t big32(Bytes b, std::size_t at) { return (big16(b, at) << 16U) | big16(b, at + 2); }

// A TIFF structure, as in a TIFF file and inside EXIF. Every access is bounds-checked and answers 0 outside.
class TiffView {
  public:
    explicit TiffView(Bytes bytes) : bytes_(bytes) {
        little_ = starts_with(bytes, "II");
        valid_ = bytes.size() >= 8 && (little_ || starts_with(bytes, "MM")) && u16(2) == 42;
    }
    bool valid() const { return valid_; }
    std::uint32_t first_directory() const { return u32(4); }
    // Every entry of the directory, and the value that each points to, lies in the file.
    bool whole(std::uint32_t directory) const {
        const std::size_t entries = u16(directory), first = std::size_t{directory} + 2;
        if (directory == 0 || first + 12 * entries + 4 > bytes_.size()) return false;
        for (std::size_t i = 0; i < entries; ++i)
            if (!value_of(first + 12 * i)) return false;
        return true;
    }

    struct Entry {
        std::uint32_t type = 0, count = 0;
        std::size_t at = 0;  // of the value
    };
    std::optional<Entry> find(std::uint32_t directory, std::uint32_t tag) const {
        if (directory == 0 || directory + std::size_t{2} > bytes_.size()) return std::nullopt;
        const std::uint32_t entries = u16(directory);
        for (std::uint32_t i = 0; i < entries; ++i) {
            const std::size_t at = directory + std::size_t{2} + std::size_t{12} * i;
            if (at + 12 > bytes_.size()) return std::nullopt;
            if (u16(at) == tag) return value_of(at);
        }
        return std::nullopt;
    }
    std::uint32_t number(std::uint32_t directory, std::uint32_t tag) const {
        const auto e = find(directory, tag);
        if (!e || e->count == 0) return 0;
        return e->type == 3 ? u16(e->at) : e->type == 4 ? u32(e->at) : 0;
    }
    Bytes raw(const Entry& e) const { return bytes_.subspan(e.at, e.count); }
    std::string text(std::uint32_t directory, std::uint32_t tag) const {
        const auto e = find(directory, tag);
        if (!e || e->type != 2) return {};
        std::string out;
        for (const std::uint8_t c : raw(*e).first(std::min<std::size_t>(e->count, 64))) {
            if (c == 0) break;
            out += c >= 32 && c < 127 ? static_cast<char>(c) : '?';
        }
        while (!out.empty() && out.back() == ' ') out.pop_back();
        return out;
    }

  private:
    // What the directory entry at this place points to.
    std::optional<Entry> value_of(std::size_t at) const {
        Entry e{u16(at + 2), u32(at + 4), at + 8};
        constexpr std::array<std::size_t, 14> sizes{0, 1, 1, 2, 4, 8, 1, 1, 2, 4, 8, 4, 8, 4};
        const std::size_t unit = e.type < sizes.size() ? sizes[e.type] : 0;
        if (unit == 0) return std::nullopt;
        if (unit * e.count > 4) e.at = u32(at + 8);
        if (e.at > bytes_.size() || unit * e.count > bytes_.size() - e.at) return std::nullopt;
        return e;
    }
    std::uint32_t u16(std::size_t at) const {
        if (at + 2 > bytes_.size()) return 0;
        return little_ ? static_cast<std::uint32_t>(bytes_[at] | (bytes_[at + 1] << 8)) : big16(bytes_, at);
    }
    std::uint32_t u32(std::size_t at) const {
        if (at + 4 > bytes_.size()) return 0;
        return little_ ? u16(at) | (u16(at + 2) << 16U) : big32(bytes_, at);
    }
    Bytes bytes_;
    bool little_ = false, valid_ = false;
};

void read_camera(const TiffView& tiff, Container& out) {
    const std::uint32_t root = tiff.first_directory();
    const std::string maker = tiff.text(root, 0x010F), model = tiff.text(root, 0x0110);
    out.camera = maker.empty() || model.starts_with(maker) ? model
                 : model.empty()                           ? maker
                                                           : maker + " " + model;
    const std::uint32_t exif = tiff.number(root, 0x8769);
    out.focal_35mm = tiff.number(exif, 0xA405);
}

Error broken(const std::string& where, std::string what) {
    return {Reason::bad_format, std::move(what), where, "save or send the photo again, as JPEG, PNG or TIFF"};
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
            if (tiff.valid()) read_camera(tiff, out);
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
        } else if (starts_with(b, "iCCP", at + 4)) {
            const auto name_end = std::find(body.begin(), body.end(), std::uint8_t{0});
            const auto offset = static_cast<std::size_t>(name_end - body.begin()) + 2;
            if (offset < body.size()) out.icc = inflate_profile(body.subspan(offset));
        } else if (starts_with(b, "eXIf", at + 4)) {
            const TiffView tiff(body);
            if (tiff.valid()) read_camera(tiff, out);
        } else if (starts_with(b, "IEND", at + 4)) {
            ended = true;
            break;
        }
        at += 12 + length;
    }
    if (!ended) return broken(where, "the PNG is cut short: it has no end");
    return out;
}

Result<Container> read_tiff(Bytes b, const std::string& where) {
    Container out;
    out.format = ImageFormat::tiff;
    const TiffView tiff(b);
    if (!tiff.valid()) return broken(where, "the TIFF header is damaged");
    const std::uint32_t root = tiff.first_directory();
    if (!tiff.whole(root)) return broken(where, "the TIFF is cut short");
    out.width = tiff.number(root, 0x0100);
    out.height = tiff.number(root, 0x0101);
    if (const auto icc = tiff.find(root, 0x8773);
        icc && icc->count <= max_profile && (icc->type == 7 || icc->type == 1)) {
        const Bytes raw = tiff.raw(*icc);
        out.icc.assign(raw.begin(), raw.end());
    }
    read_camera(tiff, out);
    return out;
}

}  // namespace

Result<Container> read_container(Bytes b, const std::string& where) {
    Result<Container> out = [&]() -> Result<Container> {
        if (starts_with(b, "\xFF\xD8")) return read_jpeg(b, where);
        if (starts_with(b, "\x89PNG\r\n\x1A\n")) return read_png(b, where);
        if (starts_with(b, "II*") || starts_with(b, std::string_view("MM\0*", 4))) return read_tiff(b, where);
        return broken(where, b.empty() ? "the file is empty" : "this is not a JPEG, PNG or TIFF file");
    }();
    if (!out) return out;
    if (out->width == 0 || out->height == 0) return broken(where, "the picture has no size");
    if (std::uint64_t{out->width} * out->height > max_pixels)
        return Error{Reason::bad_format, "the picture has more than 200 megapixels", where,
                     "make it smaller, or crop it to the card"};
    return out;
}

}  // namespace bindhue::capture

#include "photo/exif.hpp"

#include <algorithm>
#include <array>

namespace bindhue::capture {

TiffView::TiffView(std::span<const std::uint8_t> bytes) : bytes_(bytes) {
    if (bytes.size() < 8) return;
    little_ = bytes[0] == 'I' && bytes[1] == 'I';
    valid_ = (little_ || (bytes[0] == 'M' && bytes[1] == 'M')) && u16(2) == 42;
}

bool TiffView::whole(std::uint32_t directory) const {
    const std::size_t entries = u16(directory), first = std::size_t{directory} + 2;
    if (directory == 0 || first + 12 * entries + 4 > bytes_.size()) return false;
    for (std::size_t i = 0; i < entries; ++i)
        if (!value_of(first + 12 * i)) return false;
    return true;
}

std::optional<TiffView::Entry> TiffView::find(std::uint32_t directory, std::uint32_t tag) const {
    if (directory == 0 || directory + std::size_t{2} > bytes_.size()) return std::nullopt;
    const std::uint32_t entries = u16(directory);
    for (std::uint32_t i = 0; i < entries; ++i) {
        const std::size_t at = directory + std::size_t{2} + std::size_t{12} * i;
        if (at + 12 > bytes_.size()) return std::nullopt;
        if (u16(at) == tag) return value_of(at);
    }
    return std::nullopt;
}

std::uint32_t TiffView::number(std::uint32_t directory, std::uint32_t tag) const {
    const auto e = find(directory, tag);
    if (!e || e->count == 0) return 0;
    return e->type == 3 ? u16(e->at) : e->type == 4 || e->type == 13 ? u32(e->at) : 0;
}

std::string TiffView::text(std::uint32_t directory, std::uint32_t tag) const {
    const auto e = find(directory, tag);
    if (!e || e->type != 2) return {};
    std::string out;
    for (const std::uint8_t c : bytes_of(*e).first(std::min<std::size_t>(e->count, 64))) {
        if (c == 0) break;
        out += c >= 32 && c < 127 ? static_cast<char>(c) : '?';
    }
    while (!out.empty() && out.back() == ' ') out.pop_back();
    return out;
}

std::span<const std::uint8_t> TiffView::bytes_of(const Entry& entry) const {
    return bytes_.subspan(entry.at, entry.count);
}

std::vector<std::uint32_t> TiffView::directories() const {
    constexpr std::size_t most = 32;
    std::vector<std::uint32_t> out;
    if (!valid_) return out;
    const auto add = [&](std::uint32_t place) {
        if (place == 0 || place + std::size_t{2} > bytes_.size() || out.size() >= most ||
            std::find(out.begin(), out.end(), place) != out.end())
            return false;
        out.push_back(place);
        return true;
    };
    std::uint32_t place = first_directory();
    while (add(place)) place = u32(place + std::size_t{2} + std::size_t{12} * u16(place));
    for (std::size_t i = 0; i < out.size(); ++i) {
        const auto below = find(out[i], 0x014A);
        if (!below || (below->type != 4 && below->type != 13)) continue;
        for (std::size_t k = 0; k < std::min<std::size_t>(below->count, most); ++k)
            add(u32(below->at + 4 * k));
    }
    return out;
}

// What the directory entry at this place points to.
std::optional<TiffView::Entry> TiffView::value_of(std::size_t at) const {
    Entry e{u16(at + 2), u32(at + 4), at + 8};
    constexpr std::array<std::size_t, 14> sizes{0, 1, 1, 2, 4, 8, 1, 1, 2, 4, 8, 4, 8, 4};
    const std::size_t unit = e.type < sizes.size() ? sizes[e.type] : 0;
    if (unit == 0) return std::nullopt;
    if (unit * e.count > 4) e.at = u32(at + 8);
    if (e.at > bytes_.size() || unit * e.count > bytes_.size() - e.at) return std::nullopt;
    return e;
}

std::uint32_t TiffView::u16(std::size_t at) const {
    if (at + 2 > bytes_.size()) return 0;
    const std::uint32_t a = bytes_[at], b = bytes_[at + 1];
    return little_ ? a | (b << 8U) : (a << 8U) | b;
}

std::uint32_t TiffView::u32(std::size_t at) const {
    if (at + 4 > bytes_.size()) return 0;
    return little_ ? u16(at) | (u16(at + 2) << 16U) : (u16(at) << 16U) | u16(at + 2);
}

Exif read_exif(const TiffView& tiff) {
    Exif out;
    if (!tiff.valid()) return out;
    const std::uint32_t root = tiff.first_directory();
    const std::string maker = tiff.text(root, 0x010F), model = tiff.text(root, 0x0110);
    out.camera = maker.empty() || model.starts_with(maker) ? model
                 : model.empty()                           ? maker
                                                           : maker + " " + model;
    if (const std::uint32_t said = tiff.number(root, 0x0112); said >= 1 && said <= 8)
        out.orientation = static_cast<int>(said);
    out.focal_35mm = tiff.number(tiff.number(root, 0x8769), 0xA405);
    return out;
}

}  // namespace bindhue::capture

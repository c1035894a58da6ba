// The TIFF structure, as in a TIFF file, inside EXIF and in many cameras' raw files; and what EXIF says of a photo.
//
// Hostile input is expected: every access is bounds-checked and answers 0 or nothing outside.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace bindhue::capture {

class TiffView {
  public:
    struct Entry {
        std::uint32_t type = 0, count = 0;
        std::size_t at = 0;  // of the value
    };

    explicit TiffView(std::span<const std::uint8_t> bytes);
    bool valid() const { return valid_; }
    std::uint32_t first_directory() const { return u32(4); }
    // Every entry of the directory, and the value that each points to, lies in the file.
    bool whole(std::uint32_t directory) const;
    std::optional<Entry> find(std::uint32_t directory, std::uint32_t tag) const;
    // A whole number of 16 or 32 bits; of several the first. 0 if it is not there.
    std::uint32_t number(std::uint32_t directory, std::uint32_t tag) const;
    // Printable ASCII, at most 64 characters. Empty if it is not there.
    std::string text(std::uint32_t directory, std::uint32_t tag) const;
    // The value of an entry whose unit is a byte.
    std::span<const std::uint8_t> bytes_of(const Entry& entry) const;
    // Places of the directories: the chain from the first, and what those name as their own below them (tag
    // 0x014A). At most 32, for a chain may be made to run in a circle.
    std::vector<std::uint32_t> directories() const;

  private:
    std::optional<Entry> value_of(std::size_t at) const;
    std::uint32_t u16(std::size_t at) const;
    std::uint32_t u32(std::size_t at) const;

    std::span<const std::uint8_t> bytes_;
    bool little_ = false, valid_ = false;
};

struct Exif {
    std::string camera;     // maker and model, empty if not said
    double focal_35mm = 0;  // focal length in 35 mm film, mm; 0 if not said
    int orientation = 1;    // 1..8, CIPA DC-008 (EXIF), 4.6.4.A: how the stored picture is to be turned
};

Exif read_exif(const TiffView& tiff);

}  // namespace bindhue::capture

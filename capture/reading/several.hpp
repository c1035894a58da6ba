// Several photos of one wrap as one reading: the card may lie anywhere along the rod, the light may be another.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "reading/reading.hpp"

namespace bindhue::capture {

struct PhotoToRead {
    std::filesystem::path path;
    std::string light;  // what the user calls the light; empty: not said
    std::span<const std::uint8_t> bytes{};  // where there are any, these are the photo, and the path only names it
};

// How far the other photo's bands must move along the rod, in millimetres, to lie on the first one's, by
// places of edges and by colour. None if the two do not show the same wraps.
std::optional<double> shift_between(std::span<const BandReading> one, std::span<const BandReading> other);

// The first photo's bands, each combined with the bands of the other photos that lie on it (see
// bindhue::combine): widths and diameter are means. Where photos disagree beyond their covariances the band
// says so, and its covariance grows by as much. Precondition: at least one reading.
// Error: cannot_measure if a photo does not show the wraps of the first.
Result<WrapReading> join_readings(std::vector<WrapReading> readings);

// Reads each photo and joins the readings. Edges given by hand are places in the first photo: another one is read as it is, laid on the first, and
// read again by the same edges. Precondition: at least one photo. Errors: those of read_photo and join_readings; bad_value for a region or corners
// given by hand with more than one photo.
Result<WrapReading> read_photos(std::span<const PhotoToRead> photos, const ReadOptions& options);

}  // namespace bindhue::capture

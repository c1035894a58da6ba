// A two-tone test stick in a reading: a dry thread wound across the middle of a sleeve that is half black and half white.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "reading/reading.hpp"

namespace bindhue::capture {

// Which bands of a reading are the stick's parts, by their places in the list.
struct StickParts {
    std::size_t over_black = 0, over_white = 0, black = 0, white = 0;
};

// Bare, thread, thread, bare side by side, of which the bare ones are 15 mm long and more and as far apart in lightness as any; the bare dowel may show beyond them. None
// where they are not apart by least_grounds_apart (colour/opacity.hpp).
std::optional<StickParts> find_stick(std::span<const BandReading> bands);

// Thread that hides both looks alike over black and white, and is one band between them. Then where the four parts meet (ReadOptions::edges_mm), the
// other bands as they were found, thread over black and over white divided at the wrap's middle. None where the reading has no such three, or four that are a stick already.
std::optional<std::vector<double>> edges_across(std::span<const BandReading> bands);

}  // namespace bindhue::capture

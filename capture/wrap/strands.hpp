// Two-coloured (variegated, twisted) thread: which of its two colours each place of a wrap shows.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <utility>
#include <vector>

#include "wrap/segments.hpp"

namespace bindhue::capture {

struct TwoColours {
    double share = 0;                                        // of the second, 0 to 1
    std::vector<std::pair<std::size_t, std::uint8_t>> mark;  // of values of the skin: 1, 2, or 3 where blur mixes the two
};

// Whether neighbouring runs are one wrap of two-coloured thread, and where it shows which colour. Colours are told apart by the differences of their
// channels, which hardly see what a coat mirrors, so two greys are never found. They must alternate round the rod, in every run and
// every few millimetres: what does not is a blotch, a guide's foot, or bands. Too fine for the picture, they are one mixed colour.
std::optional<TwoColours> two_colours(const Skin& skin, std::span<const Segment> runs, const Vector3& white, double facing_theta);

// Runs that are one wrap of two-coloured thread made one.
void join_two_coloured(std::vector<Segment>& segments, const Skin& skin, const Vector3& white, double facing_theta);

}  // namespace bindhue::capture

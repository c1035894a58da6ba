// How the looks of a rack lie on a picture of it: three discs, dark, middle and light, hue round and chroma outwards.
#pragma once

#include <array>
#include <cstddef>
#include <span>
#include <string>
#include <utility>

#include "colour/audit.hpp"

namespace bindhue::capture {

struct RackLevel {
    const char* name;
    double from, below;  // L*

    bool has(const Lab<D50>& c) const { return c.L >= from && c.L < below; }
};
// The limits of "dark" and "light" in colour_words.
inline constexpr std::array rack_levels{RackLevel{"dark: L* below 35", 0, 35}, RackLevel{"middle: L* 35 to 70", 35, 70},
                                        RackLevel{"light: L* 70 and more", 70, 1000}};

inline constexpr double outermost_chroma = 115;  // at the rim; what is beyond lies on it
inline constexpr std::array chroma_rings{25.0, 55.0, outermost_chroma};
// Degrees, and what lies there.
inline constexpr std::array<std::pair<double, const char*>, 8> hue_names{{{30, "red"},
                                                                          {60, "orange"},
                                                                          {90, "yellow"},
                                                                          {150, "green"},
                                                                          {190, "blue-green"},
                                                                          {270, "blue"},
                                                                          {306, "violet"},
                                                                          {340, "magenta"}}};

inline constexpr std::size_t most_gaps_shown = 15;

// On a disc of radius 1: x to the right (red), y down (blue).
struct DiscPoint {
    double x = 0, y = 0;
};
DiscPoint on_disc(const Lab<D50>& c);

// The radius on that disc of what looks like c within the tolerance, about: in CIEDE2000 a difference shrinks with chroma.
double reach_on_disc(const Lab<D50>& c, double tolerance);

// Where a level has looks asked for that are not served, as the data of an SVG path, in hundredths of the radius.
std::string open_area(const RackLevel& level, std::span<const AskedLook> asked, const Audit& audit, double tolerance);

}  // namespace bindhue::capture

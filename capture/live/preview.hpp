// One frame of a live picture: is it one to measure, and if not, what is to be mended?
//
// Made for 30 frames a second on one core, so nothing is fitted here: the card is sought on a small picture, its patches are looked at through
// the curve of sRGB, and what only a fit can tell is left to the reading.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "card/pose.hpp"
#include "photo/photo.hpp"
#include "shop/card_layout.hpp"

namespace bindhue::capture {

enum class Fault { no_card, too_far, tilted, too_dark, too_bright, glare, uneven, not_sharp, no_rod, moving };
std::string_view name(Fault fault);  // "no-card", "too-far" and so on

struct Advice {
    Fault fault{};
    std::string what, mend;  // one sentence each
};

struct Preview {
    std::vector<Advice> advice;   // most pressing first; none: measure this
    std::optional<CardPose> pose;  // in the frame's own pixels, if the card was found

    bool good() const { return advice.empty() && pose; }
};

// Bounds, chosen by hand; those of a reading are wider, for here there is still time to mend.
inline constexpr double preview_px_per_mm = 5.0;     // fewer: come nearer
inline constexpr double preview_tilt_deg = 15.0;     // more: hold it square
inline constexpr double preview_white_low = 0.50;    // of full scale, as the frame is encoded; darker: more light (a reading warns below that too)
inline constexpr double preview_uneven = 1.6;        // lightest over darkest corner of the card
inline constexpr double preview_glare = 1.25;        // of a grey patch over its like
inline constexpr double preview_blur_mm = 0.28;      // standard deviation of an edge's blur

// Looking for the rod takes longer than all else, and a rod does not run away: not each frame needs it.
enum class RodCheck { yes, no };

// `frame` holds 8- or 16-bit BGR, upright. A rod is looked for where the layout has an opening and nothing else is to be mended.
Preview look_at(const Photo& frame, const CardLayout& layout, RodCheck rod_check = RodCheck::yes);

// The same of a frame as an image file. Errors: those of decode_photo; bad_value if it is larger than a frame of a live picture is.
inline constexpr std::uint64_t largest_frame_pixels = 4'200'000;
Result<Preview> look_at(std::span<const std::uint8_t> file, const CardLayout& layout, RodCheck rod_check);

}  // namespace bindhue::capture

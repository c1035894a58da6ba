// A card's own values from a photo in which a measured card lies beside it.
//
// The camera is fitted to the measured card, the target, and the other card's patches are read through that fit. The light is one smooth field
// over both: of the target it is known by its values; of the card, whose values are not known, by patches that the design prints in one ink at
// several places. Both cards must lie flat in one plane, in one light.
#pragma once

#include <array>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "colour/result.hpp"
#include "reading/reading.hpp"
#include "shop/card_values.hpp"

namespace bindhue::capture {

// Where in the picture the target lies whole, and the card in the other half.
enum class TargetSide { left, right, above, below };

struct AssignOptions {
    CardLayout card;    // as designed, or with older values
    CardLayout target;  // its trust must be `measured`
    bool linear = false;
    std::optional<std::array<PixelPoint, 4>> card_corners, target_corners;  // as ReadOptions::corners
    std::optional<TargetSide> target_side;  // needed where the two have fiducials of the same family and number
    std::string date;                       // kept with the values
};

struct Assigned {
    CardValues values;  // trust assigned, each with its covariance
    double target_error_median = 0, target_error_max = 0;  // CIEDE2000 of the target's check patches; held out ones where it has none
    std::size_t target_checks = 0;  // how many those are
    double light_ratio = 1;         // the card's light over the target's, mean of the channels
    double light_error = 0;         // one standard deviation of that, relative
    std::vector<std::string> dropped, warnings;
};

// Beyond these the values would be worth little: chosen by hand, tests/accuracy/README.md tells what they let through.
inline constexpr double worst_target_error = 2.5;      // median, CIEDE2000
inline constexpr double worst_light_ratio = 1.6;       // of the card's light to the target's, either way
inline constexpr double worst_light_colour = 0.08;     // of one channel's ratio to another's
inline constexpr double worst_light_error = 0.03;      // one standard deviation of that ratio
inline constexpr double worst_light_unevenness = 0.05; // of patches of one ink about the smooth field, robust standard deviation

// Errors: those of load_photo; bad_value (the target's trust); cannot_measure (a card that is not found, patches that can't be read, all of
// them told; cards not in one plane; the target read wrongly; light too unlike or too uneven).
Result<Assigned> assign_card(const std::filesystem::path& photo, const AssignOptions& options);

}  // namespace bindhue::capture

// Giving a print of a card values of its own: from the layout as designed to the layout of this one print.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "colour/matrix.hpp"
#include "colour/result.hpp"
#include "colour/spaces.hpp"
#include "shop/card_layout.hpp"

namespace bindhue::capture {

struct PatchValue {
    std::string id;
    Lab<D50> lab;
    std::optional<Matrix3> covariance;  // of L, a, b
    std::optional<TabulatedReflectance> spectrum;
};

struct CardValues {
    std::vector<PatchValue> patches;  // of the card's ids, each once; of traps none
    Trust trust = Trust::measured;
    CardProvenance from;
};

// The same card with other values, trust, source and provenance, and with `name`, since readings on it are of another kind than readings by
// the old values; empty: name_of_print's. What a patch had before (a spectrum, a covariance) goes with its old value; traps, which are holes,
// stay as they are, and so does whatever the format does not know. Errors: bad_value, telling every patch that has no value (traps need none),
// a value for an unknown patch or a trap, one given twice, or a value that no layout can hold.
Result<CardLayout> with_values(const CardLayout& card, const CardValues& values, const std::string& name = "");

// "bench card, measured 2026-11-01", whatever print's name the card has.
std::string name_of_print(const CardLayout& card, Trust trust, const std::string& date);

// How far each value but the traps' moved: CIEDE2000 from `before` to `after`, largest first. Precondition: the same patches in the same order.
struct PatchChange {
    std::string id;
    Lab<D50> before, after;
    double delta_e = 0;
};
std::vector<PatchChange> changes(const CardLayout& before, const CardLayout& after);
double median_change(const std::vector<PatchChange>& changes);  // 0 if there are none

// At most 20 of them, for a message.
std::string listed(const std::vector<std::string>& ids);

// Beyond this median the values are hardly those of this card: printers differ from a design by some 2 to 6, another order of patches by 30 and
// more (of calibration/card.json, turned round, 37; the bound is a guess between).
inline constexpr double suspicious_change = 15;

}  // namespace bindhue::capture

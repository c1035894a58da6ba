// What is printed where on a calibration card, and which colours it has: the file that describes any card.
//
// Everything lies in millimetres from the card's upper left corner, x to the right, y down. The format is
// calibration/card.schema.json; fields that it does not know are kept and written back.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "colour/camera_fit.hpp"
#include "colour/matrix.hpp"
#include "colour/result.hpp"
#include "colour/spaces.hpp"
#include "colour/spectrum.hpp"
#include "shop/fiducial.hpp"

namespace bindhue::capture {

// Millimetres on the card, never pixels: a photo's rectangles are another type.
struct CardRect {
    double x_mm = 0, y_mm = 0, width_mm = 0, height_mm = 0;

    double right_mm() const { return x_mm + width_mm; }
    double bottom_mm() const { return y_mm + height_mm; }
    CardPoint centre() const { return {x_mm + width_mm / 2, y_mm + height_mm / 2}; }

    // Touching is inside, and touching is no overlap, to a thousandth of a millimetre.
    bool contains(const CardRect& other) const;
    bool overlaps(const CardRect& other) const;
};

// A reflectance factor as an instrument gave it, at even steps.
struct TabulatedReflectance {
    double first_nm = 0, step_nm = 0;
    std::vector<double> values;  // 0..2: fluorescent paper passes 1

    // To 380..780 nm by 5 nm: through the four nearest values by a cubic (Lagrange; ASTM E2022), constant
    // beyond the ends (ASTM E308), not below 0. Exact where the wavelengths meet.
    Spectrum resampled() const;
};

struct CardMarker {
    int id = 0;     // in the family's dictionary
    CardRect rect;  // the outer edge of its black border; square
    std::string unknown;
};

struct CardPatch {
    std::string id;
    PatchRole role = PatchRole::colour;
    CardRect rect;  // the printed area: what is sampled should keep clear of its edge
    Lab<D50> lab;
    std::optional<Matrix3> covariance;  // of (L, a, b), where whoever gave the value said how sure it is
    std::optional<TabulatedReflectance> spectrum;
    std::string unknown;  // JSON object of fields that are not ours, or empty
};

// Where values that a print was given come from (shop/card_values.hpp). Texts; empty: not known.
struct CardProvenance {
    std::string file;        // the measurements or the photo, its name without folders
    std::string date;        // when they were given, as 2026-11-01
    std::string created;     // when the file was made, as it says, in whatever form
    std::string instrument;  // likewise
    std::string descriptor;  // likewise
    std::string colours;     // Lab, XYZ or spectra: what was taken from the file
    std::string target;      // of a photo: the name of the measured card beside
    std::string unknown;
};

// Millimetre ticks, 1 mm high, that hang down from a level line.
struct CardScale {
    CardPoint zero;
    double length_mm = 0;
};

struct CardLayout {
    std::string name;  // stands in ReadingContext::card: one name for one print
    double width_mm = 0, height_mm = 0;
    std::optional<CardRect> opening;  // where the rod lies
    Trust trust = Trust::nominal;
    std::string source;  // where the values come from, in words
    std::optional<CardProvenance> values_from;
    FiducialFamily family = FiducialFamily::aruco_4x4_50;
    std::vector<CardMarker> markers;  // none: the user points at the four corners of the card
    std::optional<CardScale> scale;
    std::vector<CardPatch> patches;
    std::string unknown, fiducials_unknown;

    CardRect outline() const { return {0, 0, width_mm, height_mm}; }
    const CardPatch* patch(std::string_view id) const;  // null if there is none
};

// `where` names the text in errors, as a rule by its path. Errors (bad_format, bad_value, too_few): a field
// is missing, of another type or out of range; something lies outside the card, or over the opening, a marker
// or a patch; an id is used twice; there are fewer than 8 patches from which a fit may learn (grey and
// colour); a spectrum does not span 400..700 nm or has steps over 20 nm.
Result<CardLayout> read_card_layout(std::string_view text, const std::string& where);

// Errors: besides the above, storage and not_found.
Result<CardLayout> load_card_layout(const std::filesystem::path& path);

// Error: bad_value if a text is not UTF-8.
Result<std::string> write_card_layout(const CardLayout& layout);

// Our own design, as in calibration/card.json. Its values are nominal.
CardLayout bench_card();

std::string_view name(PatchRole role);
std::string_view name(Trust trust);
bool parse_patch_role(std::string_view text, PatchRole& role);  // false if unknown

}  // namespace bindhue::capture

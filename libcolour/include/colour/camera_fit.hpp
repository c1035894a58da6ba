// From camera RGB to CIELAB by the patches of a card: tone curve, flare, light field, colour, each with its
// prior, robustly.
//
// Pure mathematics on a table of patch means; no pixels. Colour maps: 3x3 and root-polynomial of degree 2
// (Finlayson, Mackiewicz, Hurlbert, "Color correction using root-polynomial regression", IEEE Trans. Image
// Processing 24 (2015) 1460-1470), ridged, chosen by leave-one-patch-out error. The fit maps camera RGB
// straight to XYZ under D50: the change of light lies inside it and there is no chromatic adaptation
// transform.
#pragma once

#include <array>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "colour/light_field.hpp"
#include "colour/reading.hpp"
#include "colour/result.hpp"
#include "colour/spectrum.hpp"
#include "colour/tone_curve.hpp"

namespace bindhue {

enum class PatchRole {
    grey,    // a neutral step: carries tone curve and light field, and takes part in the colour fit
    colour,  // takes part in the colour fit
    check,   // never seen by any fit: its error is the photo's own proof
    trap,    // black trap: next to no light comes back from it, so what is read there is veil
};

// How far the reference values can be trusted.
enum class Trust {
    nominal,   // as designed: good only for comparing readings on this one card
    assigned,  // read beside a measured target
    measured,  // by an instrument
};

struct PatchSample {
    std::string id;
    PatchRole role = PatchRole::colour;
    Vector3 rgb{};                     // mean response, 0..1; encoded unless FitOptions::linear
    Vector3 standard_error{};          // of that mean; zero if not known
    Lab<D50> reference;                // of the printed patch
    std::optional<Spectrum> spectrum;  // its reflectance where an instrument gave it (for the spectral fit)
    std::optional<CardPoint> place;    // without places there is no light field
    // Some pixels at an end of the scale. Where it is known which channels, they are taken for "this or
    // beyond" and the patch counts by the others; where it is not, the patch is left out.
    bool clipped = false;
    std::array<bool, 3> clipped_low{}, clipped_high{};
};

enum class ColourModel { matrix, root_polynomial };  // 3x3; 6 terms: r, g, b, sqrt(rg), sqrt(gb), sqrt(rb)
std::string_view name(ColourModel model);            // "3x3", "root-polynomial 2"

struct FitOptions {
    bool linear = false;  // rgb is already linear light: no tone curve is fitted
    Trust trust = Trust::nominal;
    std::optional<ColourModel>
        model;  // force one; by default 3x3 if encoded, else the smaller held-out error
    ReadingContext context;
};

struct PatchResult {
    std::string id;
    PatchRole role = PatchRole::colour;
    Lab<D50> reference;
    Lab<D50> predicted;   // by a fit that saw neither this patch nor another print of the same ink
    double delta_e = 0;   // CIEDE2000 from the reference
    bool used = false;    // took part in the fit (not clipped, not an outlier, not a check patch or trap)
    std::string dropped;  // why not, in words, if it was meant to take part
};

class CameraFit {
  public:
    // The parts, in the order in which they are undone: tone curve, flare, light field, colour map.
    ToneCurve tone;
    Vector3 flare{};  // linear light that was added to every pixel, in units of the linear scale
    LightField field;
    ColourModel model = ColourModel::matrix;
    std::array<std::array<double, 6>, 3> map{};  // rows X, Y, Z; three or six terms used

    // Where the photo's scale ends, as a linear response undone at the card's mean level, and how far beyond it
    // a colour that is clipped there may lie (one standard deviation, after the clipped patches). Infinite where
    // no end is known.
    Vector3 darkest{}, lightest{}, beyond{};

    Trust trust = Trust::nominal;
    ReadingContext context;

    // Figures of merit, CIEDE2000. Held out: each patch of the fit by a fit without it; check: the check
    // patches.
    double held_out_median = 0, held_out_p95 = 0;
    double check_median = 0, check_max = 0;  // negative if the card has no check patches
    std::vector<PatchResult> patches;

    // Linear light with tone curve and flare undone, as if lit at the card's mean level.
    Vector3 undo(const Vector3& rgb, const std::optional<CardPoint>& place) const;

    // Colour of a linear response already undone (see above).
    XYZ<D50> to_xyz(const CameraRgb& linear) const;

    // The linear response that to_xyz turns into this colour, by Newton's method; exact for colours that the
    // map reaches, nearest found otherwise.
    CameraRgb response_to(const XYZ<D50>& colour) const;

    // Which channels of a linear response lie at an end of the photo's scale: the true colour may be more vivid
    // than the photo can show. read() widens the covariance by what may lie beyond.
    std::array<bool, 3> at_end_of_scale(const CameraRgb& linear) const;

    // The reading of a linear response with the covariance of its mean: pixel noise, the fit's own error
    // forecast from the held-out errors (wider outside the hull of the patches), card trust, shading, each an
    // independent term.
    Reading read(const CameraRgb& linear, const Matrix3& covariance_of_mean) const;

    // The covariance of the fit alone at a colour, in Lab.
    Matrix3 fit_covariance(const Lab<D50>& at) const;
};

// Errors: too_few (fewer than 8 usable patches, or fewer than 4 grey steps for an encoded photo), bad_value
// (a value that is not finite or out of range, naming the patch), cannot_measure (the patches do not fit the
// card: held-out median above 6 CIEDE2000).
Result<CameraFit> fit_camera(std::span<const PatchSample> patches, const FitOptions& options);

}  // namespace bindhue

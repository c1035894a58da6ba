// From camera RGB to CIELAB by the patches of a card: tone curve, flare, light field, colour, each with its
// prior, robustly.
//
// Pure mathematics on a table of patch means; no pixels. Colour maps: 3x3 and root-polynomial of degree 2
// (Finlayson, Mackiewicz, Hurlbert, "Color correction using root-polynomial regression", IEEE Trans. Image
// Processing 24 (2015) 1460-1470), ridged, chosen by leave-one-patch-out error. The fit maps camera RGB
// straight to XYZ under D50: the change of light lies inside it and there is no chromatic adaptation
// transform.
//
// Two ways to the colour map. The ordinary one learns it from the patches alone, and meets a floor: the inks of a card are not the
// dyes of thread, and a camera is no eye. The spectral one estimates sensitivity x light from patches of known reflectance under a
// prior (colour/camera_light.hpp), with a constant glare and a low field left over as further unknowns, and learns the map, a
// root-polynomial of degree 3, from invented threads (colour/virtual_threads.hpp) as cameras drawn from that estimate see them. It is
// taken if it forecasts the responses of patches left out better than the ordinary map forecasts their colours, and if what it leaves
// looks like noise: wrong spectra look otherwise. An encoded photo has been through a matrix of the maker's besides, which is estimated
// with the camera, as is what the ordinary fit left of the tone curve. Measured over ten measured cameras, each left out of the prior, and six lights
// (tests/accuracy/fit_accuracy.cpp; a simulation): see the table of tests/accuracy/README.md.
#pragma once

#include <array>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "colour/camera_light.hpp"
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
    std::optional<Spectrum> spectrum;  // its reflectance where an instrument gave it; else the smoothest is guessed
    std::optional<CardPoint> place;    // without places there is no light field
    // Some pixels at an end of the scale. Where it is known which channels, they are taken for "this or
    // beyond" and the patch counts by the others; where it is not, the patch is left out.
    bool clipped = false;
    std::array<bool, 3> clipped_low{}, clipped_high{};
    // How sure the reference itself is; zero if not known. A patch counts for less the less sure it is.
    Matrix3 reference_covariance{};
};

// 3x3; root-polynomial of degree 2, with 6 terms: r, g, b, sqrt(rg), sqrt(gb), sqrt(rb); of degree 3, with 7 more, cube roots of
// rgg, gbb, rbb, grr, bgg, brr, rgb.
enum class ColourModel { matrix, root_polynomial, root_polynomial_3 };
inline constexpr std::size_t most_map_terms = 13;
std::string_view name(ColourModel model);  // "3x3", "root-polynomial 2", "root-polynomial 3"

namespace detail {
struct SpectralFit;
}

struct FitOptions {
    bool linear = false;  // rgb is already linear light: no tone curve is fitted
    Trust trust = Trust::nominal;
    std::optional<ColourModel>
        model;  // force one; by default 3x3 if encoded, else the smaller held-out error
    // For the spectral way, which is tried with cards that are not nominal. Null: the ordinary one only. Needed only
    // during the call.
    const CameraLightPrior* prior = nullptr;
    ReadingContext context;
};

struct PatchResult {
    std::string id;
    PatchRole role = PatchRole::colour;
    Lab<D50> reference;
    // By a fit that saw neither this patch nor another print of the same ink; in the spectral way by a map that saw neither, of a
    // camera that was estimated with them.
    Lab<D50> predicted;
    double delta_e = 0;   // CIEDE2000 from the reference
    bool used = false;    // took part in the fit (not clipped, not an outlier, not a check patch or trap)
    std::string dropped;  // why not, in words, if it was meant to take part
};

// How well colours under D50 can be told under the photo's light, by the forecast error on virtual threads.
enum class LightGrade { good, fair, poor };  // median CIEDE2000 below 1, below 1.5, above
std::string_view name(LightGrade grade);

struct LightEstimate {
    // Of the library's light with the most evidence: "daylight", "daylight, 5000 K". A maker's matrix hides the finer name: of an
    // encoded photo there is the kind alone.
    std::string kind, name;
    double share = 0;        // of the evidence that lights of this kind have, 0..1
    LightGrade grade = LightGrade::poor;
    double forecast_median = 0, forecast_p95 = 0;  // CIEDE2000 of virtual threads, fit and metamerism together
};

// What a reading's covariance is the sum of, each in Lab.
struct CovarianceParts {
    Matrix3 response;  // of the response's own covariance, and of what may lie beyond a clipped channel
    Matrix3 fit;       // of the colour map: unlike dyes, unlike cameras
    Matrix3 card;      // of the card's values
    Matrix3 field;     // of the light at the wrap against the field's forecast

    Matrix3 sum() const { return response + fit + card + field; }
};

class CameraFit {
  public:
    // The parts, in the order in which they are undone: tone curve, flare, light field, colour map.
    ToneCurve tone;
    Vector3 flare{};  // linear light that was added to every pixel, in units of the linear scale
    LightField field;
    ColourModel model = ColourModel::matrix;
    std::array<std::array<double, most_map_terms>, 3> map{};  // rows X, Y, Z

    // The spectral way: what it knows (null if the ordinary one was taken), and the light.
    std::shared_ptr<const detail::SpectralFit> spectral;
    std::optional<LightEstimate> light;

    // Where the photo's scale ends, as a linear response undone at the card's mean level, and how far beyond it
    // a colour that is clipped there may lie (one standard deviation, after the clipped patches). Infinite where
    // no end is known.
    Vector3 darkest{}, lightest{}, beyond{};

    Trust trust = Trust::nominal;
    ReadingContext context;

    // The lightest grey of the card, if only brightener makes it so blue (colour/brightener.hpp): then what the light's ultraviolet may be adds to the card's part.
    std::optional<Lab<D50>> glowing_white;

    // Figures of merit, CIEDE2000. Held out: each patch of the fit by a fit without it; check: the check
    // patches.
    double held_out_median = 0, held_out_p95 = 0;
    double check_median = 0, check_max = 0;  // negative if the card has no check patches
    std::vector<PatchResult> patches;

    // How far two prints of one ink, apart on the card, disagree about their light: robust standard deviation of one print's Y, relative.
    // A field and a tone curve that are the same everywhere make them agree. Negative with fewer than 6 such pairs.
    double prints_disagree = -1;

    // Linear light with tone curve and flare undone, as if lit at the card's mean level.
    Vector3 undo(const Vector3& rgb, const std::optional<CardPoint>& place) const;

    // Colour of a linear response already undone (see above).
    XYZ<D50> to_xyz(const CameraRgb& linear) const;

    // The same as a reading has it: into a channel that ends at black goes not what the photo holds but what virtual threads send that look like this in the others.
    // Only the spectral way knows; else it is to_xyz. `taken_off`: what the picture has more than the response (mirrored light), so that its scale's ends lie lower by that.
    XYZ<D50> best_colour(const CameraRgb& linear, const Vector3& taken_off = {}) const;

    // The linear response that to_xyz turns into this colour, by Newton's method; exact for colours that the
    // map reaches, nearest found otherwise.
    CameraRgb response_to(const XYZ<D50>& colour) const;

    // Which channels of a linear response lie at an end of the photo's scale: the true colour may be more vivid
    // than the photo can show. `taken_off`: as best_colour has it.
    std::array<bool, 3> at_end_of_scale(const CameraRgb& linear, const Vector3& taken_off = {}) const;

    // By how much the best colour changes with the response, in Lab: rows L*, a*, b*.
    Matrix3 lab_by_response(const CameraRgb& linear, const Vector3& taken_off = {}) const;

    // The reading of a linear response, by its best colour, with the covariance of its mean. The fit's own error is forecast from the held-out errors
    // (wider outside the hull of the patches), in the spectral way from the 40 virtual threads nearest to the colour as cameras
    // drawn from the estimate see them.
    Reading read(const CameraRgb& linear, const Matrix3& covariance_of_mean, const Vector3& taken_off = {}) const;
    CovarianceParts covariance_parts(const CameraRgb& linear, const Matrix3& covariance_of_mean, const Vector3& taken_off = {}) const;

    // The covariance of fit and card alone at a colour, in Lab.
    Matrix3 fit_covariance(const Lab<D50>& at) const;

  private:
    // A response of which channels end at black, with what lies there as far as it can be told, and how far off that may be.
    struct Reckoned {
        CameraRgb linear;
        Vector3 deviation{};  // of channels that end at black
        std::array<bool, 3> ended{};
    };
    Reckoned reckon_beyond_black(const CameraRgb& linear, const Vector3& taken_off) const;
    Matrix3 colour_by_response(const CameraRgb& linear) const;
    std::array<Matrix3, 2> fit_and_card(const Lab<D50>& at) const;
};

// Errors: too_few (fewer than 8 usable patches, or fewer than 4 grey steps for an encoded photo), bad_value
// (a value that is not finite or out of range, naming the patch), cannot_measure (the patches do not fit the
// card: held-out median above 6 CIEDE2000).
Result<CameraFit> fit_camera(std::span<const PatchSample> patches, const FitOptions& options);

}  // namespace bindhue

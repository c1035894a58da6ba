// The one entry: a photo in, a reading out.
//
// bytes -> Photo -> CardView -> CameraFit -> bands -> WrapReading, each step once.
#pragma once

#include <array>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include <opencv2/core/mat.hpp>

#include "colour/camera_fit.hpp"
#include "colour/reading.hpp"
#include "colour/result.hpp"
#include "shop/card_layout.hpp"
#include "wrap/band_role.hpp"

namespace bindhue::capture {

struct PixelPoint {
    double x_px = 0, y_px = 0;
};
struct PixelRegion {
    double x_px = 0, y_px = 0, width_px = 0, height_px = 0;
};

// What a reading is at, for whoever waits for it.
enum class ReadStep { decoding, finding_card, fitting_colours, reading_rod };
std::string_view name(ReadStep step);

struct ReadOptions {
    CardLayout layout;
    bool linear = false;  // said to hold linear values; else the card's grey steps tell (reading/linearity.hpp)
    std::optional<std::array<PixelPoint, 4>>
        corners;  // of the card: upper left, upper right, lower right, lower left as it is read
    std::optional<PixelRegion> region;  // read this instead of looking for the rod
    // Where bands meet, in millimetres as BandReading::start_mm, ascending: taken as given instead of looking for them. Of none the rod is one band.
    std::optional<std::vector<double>> edges_mm;
    std::string light;                  // what the user calls the light, kept with the reading
    std::string camera;                 // what the user calls the camera, for files that do not say
    std::function<void(ReadStep)> on_step;  // called as each step begins, if given
};

std::string_view name(BandRole role);

// What a reading's covariance is the sum of, each in Lab: where the doubt comes from.
struct NamedCovariance {
    Matrix3 pixels, shading, mirrored;  // of the band's response (wrap/body.hpp)
    Matrix3 end_of_scale;               // what may lie beyond a clipped channel
    Matrix3 fit, card, field;           // see CovarianceParts in colour/camera_fit.hpp
    Matrix3 local_tone;                 // of a phone that does not treat all places alike
    Matrix3 glow;                       // of a dye that may glow by day (colour/fluorescence.hpp)

    Matrix3 sum() const { return pixels + shading + mirrored + end_of_scale + fit + card + field + local_tone + glow; }
};

// One of the colours of a two-coloured thread.
struct StrandReading {
    Reading colour;
    double share = 0;  // of the wrap's face, 0 to 1
};

// Metallic thread near the lamps' mirror angle (face) and away from it (flop), as far as the photos show either.
struct LooksReading {
    Reading face, flop;
};
std::string in_words(const LooksReading& looks);  // a warning of its band

struct BandReading {
    // Along the rod, from the left edge of the opening; 0 for a region. The outermost bands are taken to reach the opening's ends, of which the last
    // 1.5 mm are not looked at.
    double start_mm = 0, length_mm = 0;
    BandRole role = BandRole::wrap;
    Reading colour;
    std::optional<NamedCovariance> covariance_of;  // of one photo; none where several were combined
    std::size_t photos = 1;  // that it was read from
    std::optional<double> pitch_mm;
    std::optional<double> spread;  // within the band, CIELAB (wrap/evenness.hpp); none for a short one
    std::vector<StrandReading> strands;  // both, of a two-coloured thread (then colour is of their mean); else none
    std::optional<LooksReading> looks;   // of metallic thread (then colour lies midway, and its covariance takes both in)
    std::vector<std::string> warnings;
    std::vector<PixelPoint> outline;  // in the photo, upright
};

// A warning of a band, and of no colour.
inline constexpr const char* pitch_not_resolved = "thread pitch not resolved in this picture";

struct CardReport {
    std::string layout;
    Trust trust = Trust::nominal;
    double check_median = 0, check_max = 0;  // CIEDE2000 of the check patches; negative if the card has none
    double held_out_median = 0, held_out_p95 = 0;
    std::string colour_model;            // "3x3" or "root-polynomial 2"
    std::optional<LightEstimate> light;  // where the spectral way was taken: linear photos of a card with spectra
    double prints_disagree = -1;  // see CameraFit
    Vector3 veil{};            // flare as a share of white, red, green, blue
    double px_per_mm = 0, tilt_deg = 0;
    std::vector<std::string> dropped;  // patches left out, and why
    std::vector<PixelPoint> outline, opening;  // corners in the photo, upright; no opening if the card has none
};

struct WrapReading {
    std::string photo;
    std::vector<std::string> photos;          // all of them, if there were several; then photo is the first
    std::vector<BandReading> bands;           // in order along the rod
    std::optional<double> blank_diameter_mm;  // at the middle of the opening
    CardReport card;
    std::vector<std::string> warnings;
    cv::Mat picture;  // CV_8UC3, BGR, the upright photo, for drawing on

    // What to know of an answer that rests on these bands (numbers from 0): the photo's warnings and theirs, but for those of pitch.
    std::vector<std::string> warnings_on(std::span<const std::size_t> resting_on) const;
    // The bare blank, if it was seen: what lies under the thread.
    std::optional<Reading> blank() const;
};

inline constexpr double shortest_given_band_mm = 0.5;  // between edges_mm, and to the ends of what the opening shows

Result<WrapReading> read_photo(const std::filesystem::path& path, const ReadOptions& options);

// The same from a photo's bytes, wherever they came from; `source` names it in messages.
Result<WrapReading> read_photo(std::span<const std::uint8_t> bytes, const std::string& source,
                               const ReadOptions& options);

// How the name of a file usually ends that holds a photo which was read: ".jpg", ".raw" for any camera's own.
std::string_view usual_ending(std::span<const std::uint8_t> bytes);

}  // namespace bindhue::capture

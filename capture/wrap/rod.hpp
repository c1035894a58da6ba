// The rod in the card's opening: axis, edges, and its skin unrolled.
#pragma once

#include <algorithm>
#include <vector>

#include "card/view.hpp"
#include "colour/camera_fit.hpp"
#include "colour/result.hpp"
#include "photo/photo.hpp"
#include "wrap/opening.hpp"

namespace bindhue::capture {

// A straight, perhaps tapered, round rod whose top line is level with the card's face. Along the rod, s is
// measured in millimetres from the left edge of the opening; round it, theta in radians from the card's
// normal, positive towards larger y.
class Rod {
  public:
    double s_begin = 0, s_end = 0;           // the part in the opening that can be measured
    double opening_x_mm = 0;                 // card x of s = 0
    double axis_y_mm = 0, axis_slope = 0;    // card y of the axis at s = 0; dy/dx
    double radius_mm = 0, radius_slope = 0;  // at s = 0; per mm
    double edge_share = 1;                   // share_at_once of the softer of its two edges (wrap/opening.hpp), as find_rod has it

    double radius_at(double s) const { return radius_mm + radius_slope * s; }
    CardSpace surface(double s, double theta) const;
    CardPoint top(double s) const;
    // Direction round the rod in which the surface faces the lens.
    double facing_camera(double s, const CardPose& pose) const;
    // Width in the picture of the strip of +-15 degrees, the only part of a coated rod that a camera may see clean; pixels.
    double strip_px(double s, const CardPose& pose) const;
};

// Across that strip: below the first a rod is not read, below the second it is read with a warning (12 are a fair minimum: common
// practice; the first is a guess).
inline constexpr double fewest_strip_px = 5.0, fair_strip_px = 12.0;

// The rod that is seen so in the opening.
Rod rod_between(const OpeningImage& image, const RodEdges& seen, const CardSpace& lens);

// Errors, cannot_measure: no rod in the opening, or one too thin in pixels to be read.
Result<Rod> find_rod(const OpeningImage& image, const CardPose& pose);

// The rod's skin: linear camera response (tone, flare and the light along the rod's top line undone), rows by
// theta, columns by s. Not finite where the rod is out of the picture.
struct Skin {
    std::vector<double> theta;   // of each row
    double row_px = 1;           // pixels of the picture from one row to the next, where the rod faces the camera
    double s_begin = 0, ds = 0;  // s of the first column's middle; step
    std::size_t columns = 0;
    std::vector<Vector3> values;  // row by row

    const Vector3& at(std::size_t row, std::size_t column) const { return values[row * columns + column]; }
    double s_of(std::size_t column) const { return s_begin + ds * static_cast<double>(column); }
    // The column whose middle is nearest; `columns` where s lies past them, so that it ends a run as well as it begins one.
    std::size_t column_at(double s) const { return static_cast<std::size_t>(std::clamp((s - s_begin) / ds + 0.5, 0.0, static_cast<double>(columns))); }
};

Skin unroll(const Photo& photo, const CardPose& pose, const CameraFit& fit, const Rod& rod);

}  // namespace bindhue::capture

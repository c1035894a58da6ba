// Where the card lies in the photo, and from where the camera looks at it.
//
// The only file that knows OpenCV's fiducial interface (it changes in OpenCV 4.7).
#pragma once

#include <array>
#include <optional>
#include <vector>

#include <opencv2/core/types.hpp>

#include "colour/matrix.hpp"
#include "colour/result.hpp"
#include "photo/photo.hpp"
#include "shop/card_layout.hpp"

namespace bindhue::capture {

// A place in space in the card's frame, millimetres: x right, y down along the card, z towards the camera;
// the card's face is z = 0.
struct CardSpace {
    double x = 0, y = 0, z = 0;
};

class CardPose {
  public:
    cv::Matx33d camera;     // pinhole matrix, pixels
    double distortion = 0;  // first radial coefficient
    cv::Matx33d rotation;   // card (x, y, -z: OpenCV's frames are right-handed) to camera
    cv::Vec3d translation;
    int markers_found = 0, markers_expected = 0;
    double residual_px = 0;  // root mean square of the fiducials' corners

    // Pixel of a point in card space (pixel centres at whole numbers).
    cv::Point2d project(const CardSpace& p) const;
    // The point of the card's plane that lies under a pixel, by Newton's method from the first guess; near it if none does.
    CardPoint place_under(const cv::Point2d& pixel, const CardPoint& guess) const;
    // Position of the lens in card space.
    CardSpace camera_position() const;
    // Pixels a millimetre at the card's middle.
    double px_per_mm = 0;
    // Angle between the card's normal and the line of sight at the card's middle, degrees.
    double tilt_deg = 0;
};

// Four corners of the card in the photo, pixels: upper left, upper right, lower right, lower left as the card
// is read.
using CardCorners = std::array<cv::Point2d, 4>;

// How long fiducials are sought: thorough, up to the whole picture; quick, once, on a small one, for a live picture in which a card that is
// near enough to be measured is large.
enum class FiducialSearch { thorough, quick };

// By the layout's fiducials, or by corners given by hand. Errors, all cannot_measure: no fiducial found, too
// few (at least two markers are needed, half as far apart each way as the layout's own), seen too obliquely
// (over 45 degrees), too small (under 3 px/mm).
Result<CardPose> find_card(const Photo& photo, const CardLayout& layout,
                           const std::optional<CardCorners>& corners = {}, FiducialSearch search = FiducialSearch::thorough);

}  // namespace bindhue::capture

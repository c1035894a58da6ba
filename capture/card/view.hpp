// The card, flattened: patch means in card millimetres, ready for the camera fit.
#pragma once

#include <optional>
#include <vector>

#include <opencv2/core/mat.hpp>

#include "card/pose.hpp"
#include "colour/camera_fit.hpp"
#include "photo/photo.hpp"

namespace bindhue::capture {

// What was seen of one patch.
struct CardView {
    CardPose pose;
    std::vector<PatchSample> patches;
    std::vector<std::string> notes;  // patches left out before the fit, and why
    double clipped_white_share = 0;  // share of the lightest grey patches that are clipped
    std::optional<Vector3> white;    // mean of those patches, by channel, 0..1, encoded as the photo is; none where none is in sight
};

// Response of the photo at a pixel position, 0..1, red first; bilinear. Outside the picture: not finite.
Vector3 response_at(const Photo& photo, const cv::Point2d& pixel);

// Means over the inner part of each patch. A patch out of the picture, or one that is not of one colour (a
// finger, an edge, a mirrored lamp), is left out and noted; one with clipped pixels is marked. Error
// cannot_measure: too few patches in sight, or every white clipped.
Result<CardView> sample_card(const Photo& photo, const CardLayout& layout, const CardPose& pose);

}  // namespace bindhue::capture

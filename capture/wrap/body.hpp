// The body colour of each band, apart from what its clear coat mirrors.
//
// What a coated rod sends to the camera, at s along it and theta round it, one channel:
//     I(s, theta) = b_k S(theta) + m(s, theta)
// with the body colour b_k of the band at s, the light's shading S round the cylinder (1 where the surface faces as the card does) and
// the mirror image m, which never takes light away, changes slowly along the rod, and does not care for the band below the coat (the
// dichromatic model: Shafer, "Using color to separate reflection components", Color Res. Appl. 10 (1985) 210-218). So
// - across an edge between two bands the mirror image cancels: the step gives S, and the difference of the two body colours;
// - in each band the place where I / S is least mirrors something dark, mostly the camera's own side: b_k and a small excess;
//   it is looked for where the band faces the camera, and farther out where a streak covers that;
// - the excesses are found together, as small as the steps at the edges allow.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "colour/camera_fit.hpp"
#include "colour/matrix.hpp"
#include "wrap/metallic.hpp"
#include "wrap/segments.hpp"

namespace bindhue::capture {

// Of a response, what its covariance is the sum of.
struct ResponseParts {
    Matrix3 pixels;    // noise, texture, what blur and demosaicing leave
    Matrix3 shading;   // how much light the surface gets, against the card
    Matrix3 mirrored;  // what the coat mirrors and was not taken off

    Matrix3 sum() const { return pixels + shading + mirrored; }
};

struct BodyColour {
    CameraRgb linear;          // response as of a flat surface in the card's plane, ready for CameraFit::read
    ResponseParts covariance;  // of that response
    Vector3 taken_off{};       // of what the picture shows there, as mirrored
    Vector3 shade{1, 1, 1};    // light where the rod faces the camera, of what the card's plane gets, by channel
    // From the segment before to this one, by what changes at all angles round the rod alike: a streak's end changes few. Zero for the first.
    Vector3 step{};
    // The standard error of that step over its size, of the channel that shows it best, and the largest error of a channel as a share of white. Bands meet all
    // round the rod: what stands over it, or lies under a part of the thread, leaves more.
    double step_misfit = 0, step_error = 0;
    std::optional<Looks> looks;  // of metallic thread: then linear lies midway, and its covariance takes both in
    ResponseParts looks_covariance;  // of either look
    std::vector<std::string> warnings;
};

// The camera's own dark shape, as the coat mirrors it: the one place where next to nothing is mirrored.
struct CameraShade {
    double s_mm = 0, reach_mm = 0;  // along the rod, and to each side of there
    double reach_theta = 0;         // round the rod, radians, to each side of facing the camera
    double unresolved = 0;          // share of its brighter surround that blur leaves in its middle, 0..1
};
// blur_px: standard deviation of the picture's blur, as blur_of_edges has it.
CameraShade camera_shade(const Rod& rod, const CardPose& pose, double blur_px);

// What is known of some segments, by their places in the list.
struct KnownSegments {
    std::vector<std::size_t> alike;     // have one body colour (the bare blank)
    // Are metallic thread: neither shading nor mirrored light is told by their steps, unless there are no others. One whose darker look would send back less than
    // nothing is taken for plain thread after all.
    std::vector<std::size_t> metallic;
    double outline_doubt = 0;  // relative, of the light on a rod whose outline is not sure
};

// One answer a segment, in order; not finite where a segment is out of the picture.
std::vector<BodyColour> body_colours(const Skin& skin, const std::vector<Segment>& segments,
                                     const CameraFit& fit, double facing_theta, const CameraShade& shade,
                                     const KnownSegments& known = {});

std::vector<Lab<D50>> labs_of(const std::vector<BodyColour>& bodies, const CameraFit& fit);

}  // namespace bindhue::capture

// One colour seen with some of the lights' own light over it, as a coat mirrors it.
#pragma once

#include "colour/matrix.hpp"

namespace bindhue::capture {

// Walls, clothes and wood have colours of their own: relative, of what is mirrored, by channel (a guess; path-traced rooms like 0.1 to 0.4).
inline constexpr double room_tint = 0.2;

// run = scale * under + level + what is left, least squares over the channels.
struct AddedLight {
    double level = 0;           // what is added, as a share of white; negative where it is taken away
    double left = 0, size = 0;  // roots of the sums of squares over the channels: of what neither explains, of `under`
    bool coloured = false;      // is `under` far enough from a grey? Any grey is another grey with light added
};

// Shares of white, by channel. `most_scaled`: shading may scale the one by so much at most, up or down.
AddedLight added_light(const Vector3& run, const Vector3& under, double most_scaled);

}  // namespace bindhue::capture

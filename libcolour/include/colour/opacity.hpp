// How much one layer of thread hides, from the same thread wound dry across a black and a white ground.
//
// The layer is that of colour/coating.hpp, schedule none; what is sought is its scattering. Thread whose colour is deep hides by absorption and tells
// little of scattering: then the answer is wide, and says so.
#pragma once

#include "colour/coating.hpp"
#include "colour/reading.hpp"
#include "colour/result.hpp"

namespace bindhue {

struct OpacityTest {
    Reading spool;  // dry, as on the spool
    Reading over_black, black, over_white, white;  // one dry layer over each ground; the grounds bare
};

inline constexpr double least_grounds_apart = 30;  // L*: nearer grounds tell nothing

struct OpacityFound {
    LayerOpacity layer;
    double contrast_ratio = 0, contrast_ratio_sd = 0;  // luminous reflectance over black by that over white (ISO 6504-3's definition)
    bool as_thread = true;  // false: the readings fit no such layer within their errors and 2.5 on each axis (chi squared, 0.1 %)
};

// Most probable scattering (Gauss-Newton), its deviation by Laplace's approximation and what the model leaves out. Errors: bad_value (a reading, with the
// field; the size; grounds less than least_grounds_apart apart); metallic has no such layer.
Result<OpacityFound> find_opacity(Material material, double size_mm, const OpacityTest& test);

}  // namespace bindhue

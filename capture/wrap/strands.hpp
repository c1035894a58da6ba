// Two-coloured (variegated, twisted) thread: told by its stripes, and parted into its colours.
#pragma once

#include <optional>
#include <vector>

#include "colour/matrix.hpp"
#include "wrap/segments.hpp"

namespace bindhue::capture {

// How a rod lies in its picture, as far as stripes are concerned.
struct StripeSight {
    Vector3 white{};  // response to white
    double facing_theta = 0, radius_mm = 0;
    // Standard deviation of the picture's blur, millimetres: of lightness, and of the differences of channels, which a mosaic of colour filters and a
    // compressed file hold more coarsely.
    double blur_mm = 0, chroma_blur_mm = 0;
    bool encoded = false;  // the file holds lightness and chroma through a tone curve, as a JPEG does
};

struct TwoColours {
    double share = 0.5, share_error = 0;  // of the second, of the wrap's face, 0 to 1
    Vector3 apart{};                      // response of the second less that of the first, as lit where the rod faces the camera
    Matrix3 apart_covariance{};
};

struct TwoColouredWrap {
    double begin_mm = 0, end_mm = 0;
    TwoColours colours;
};

// Whether a run is thread of two colours. Thread that changes its colour every few millimetres of its length shows as one wave over a small part of the
// skin, along it and round it; it explains most of how the colour varies there, which what else a wrap shows does not: thread's texture goes straight round the rod, noise
// is no wave, gloss no repeat. Lightness counts only where the stripes are slanted, since gloss lies along the rod. The wave's height, and what blur takes
// from a wave of that length, tell how far the colours lie apart; what blur leaves of its lopsidedness, and that twisted threads are mostly alike in size, their shares.
// Where stripes are too fine for the picture everywhere on the wrap, nothing is told; where turns alternate so that only half of the repeat shows, the colours seem too much
// alike, which can't be seen from the stripes. Stripes of colours that no surface has, or that nobody would tell apart, are a streak's flank. On rendered photos (seeds 841000 to
// 842015) 45 of 83 such wraps were told; of seeds 843000 to 843009, judged once, 16 of 24 by an earlier version, whose colours erred by a median of CIEDE2000 3.9, a tenth of them by
// over 20, and whose shares by a median of 0.07.
std::optional<TwoColours> two_colours(const Skin& skin, const Segment& run, const StripeSight& sight);

// Finds the wraps of two-coloured thread among the runs and takes their stripes off the skin: what is left shows their mean colour under the gloss as it was. If
// `join`, runs beside them that show the same stripes are made one with them.
std::vector<TwoColouredWrap> take_stripes_off(Skin& skin, std::vector<Segment>& runs, const StripeSight& sight, bool join);

}  // namespace bindhue::capture

// The same wrap in a reading before and in one after coating. Coating changes its colour too much to know it by, so its place tells.
#pragma once

#include <cstddef>

#include "reading/reading.hpp"

namespace bindhue::capture {

struct WrapPair {
    std::size_t before = 0, after = 0;  // numbers of bands, from 0
};

// before_band, after_band: numbers from 1 as bindhue read lists them, 0 for not said. Where neither is said, the longest wrap before (the only
// band, of a region) and the wrap in its place after: both readings must then show as many wraps, alike in length one by one. Where one is said,
// the other is the one in its place. Errors: not_found (no such band); cannot_measure (nothing but blank; the places do not tell).
Result<WrapPair> same_wrap(const WrapReading& before, const WrapReading& after, std::size_t before_band = 0,
                           std::size_t after_band = 0);

}  // namespace bindhue::capture

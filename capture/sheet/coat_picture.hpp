// What coating did to thread, drawn.
#pragma once

#include <filesystem>
#include <span>

#include "colour/coat_check.hpp"
#include "colour/result.hpp"

namespace bindhue::capture {

// A .png or .svg by the ending of the path: the wrap dry, finished and as it was expected, side by side in colour; the shift as an arrow in the
// plane of a* and b* and in lightness, the expected one beside it with its 95 % region; the verdict in words. Errors: bad_value (another
// ending); storage.
Status write_coat_check_picture(const TestWrap& wrap, const CoatCheck& check, const std::filesystem::path& path);

// All coat tests, a row for each material and schedule: shifts as arrows from dry to finished, in the colours of the finished wraps, in the plane
// of a* and b* and in lightness over the dry lightness; outliers (indices into the tests) with a ring. Precondition: there are tests.
Status write_coat_model_picture(std::span<const CoatTest> tests, std::span<const std::size_t> outliers,
                                const std::filesystem::path& path);

}  // namespace bindhue::capture

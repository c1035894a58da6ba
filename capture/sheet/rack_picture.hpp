// What a rack serves and where its gaps are, drawn.
#pragma once

#include <filesystem>
#include <span>

#include "colour/audit.hpp"
#include "colour/result.hpp"

namespace bindhue::capture {

// A .png or .svg by the ending of the path: three discs, dark, middle and light, hue round and chroma outwards, with
// each finished look as a dot of its own colour (sRGB, clipped to it) and what is asked for but not served as open areas;
// the largest gaps numbered, named and measured below. Errors: bad_value (another ending); storage.
Status write_rack_picture(const Palette& palette, std::span<const SpoolLook> looks,
                          std::span<const AskedLook> asked, const Audit& audit, double tolerance,
                          const std::filesystem::path& path);

}  // namespace bindhue::capture

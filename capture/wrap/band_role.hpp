#pragma once

namespace bindhue::capture {

// What a run of one colour along the rod is.
enum class BandRole { wrap, trim, blank };

}  // namespace bindhue::capture

// The date that our files keep.
#pragma once

#include <string>

namespace bindhue::capture {

// As 2026-11-01, in local time.
std::string today();

}  // namespace bindhue::capture

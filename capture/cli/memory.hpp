// Memory for pictures.
#pragma once

namespace bindhue::capture::cli {

// Large pictures get pages of 2 MiB where the system has them, and smaller blocks that were given back are used again rather than asked for anew: the system
// clears each page that it hands out, which took as long as decoding. Once, at a program's start. Does nothing on systems other than Linux with glibc.
void take_memory_in_large_pages();

}  // namespace bindhue::capture::cli

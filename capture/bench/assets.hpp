// The page's own files, compiled into the program: it works with no file beside it and fetches nothing.
#pragma once

#include <span>
#include <string_view>

namespace bindhue::capture::bench {

struct Asset {
    std::string_view path, type, text;
};

std::span<const Asset> assets();

}  // namespace bindhue::capture::bench

// Numbers as text.
#pragma once

#include <array>
#include <cstdio>
#include <string>

namespace bindhue::capture {

// By a printf format: formatted("%.1f mm", 2.25). At most 199 bytes of it.
std::string formatted(const char* format, auto... values) {
    std::array<char, 200> text{};
    std::snprintf(text.data(), text.size(), format, values...);
    return text.data();
}

// The same with one double: number("%.1f", 2.25).
inline std::string number(const char* format, double value) { return formatted(format, value); }

}  // namespace bindhue::capture

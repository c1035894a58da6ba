#include "shop/numbers.hpp"

#include <array>
#include <charconv>
#include <cmath>
#include <cstdlib>

namespace bindhue::capture {

Result<std::vector<double>> parse_numbers(const std::string& text, std::size_t count,
                                          const std::string& option) {
    std::vector<double> out;
    const char* at = text.c_str();
    while (true) {
        char* end = nullptr;
        const double value = std::strtod(at, &end);
        if (end == at || !std::isfinite(value)) break;
        out.push_back(value);
        at = end;
        if (*at != ',') break;
        ++at;
    }
    if (out.size() != count || *at != '\0')
        return Error{Reason::bad_value,
                     "\"" + text + "\" is not " + std::to_string(count) + " numbers with commas between",
                     option, "write them as 41.5,30,-2.25 without spaces"};
    return out;
}

std::optional<std::size_t> whole_number(std::string_view text) {
    std::size_t out = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), out);
    if (error != std::errc() || end != text.data() + text.size()) return std::nullopt;
    return out;
}

std::string shortest_text(double value) {
    std::array<char, 32> text{};
    const auto [end, error] = std::to_chars(text.data(), text.data() + text.size(), value);
    return {text.data(), end};
}

}  // namespace bindhue::capture

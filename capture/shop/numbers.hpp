// Numbers as a person types them into an option or a field.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "colour/result.hpp"

namespace bindhue::capture {

// "1,2.5,-3" as exactly `count` finite numbers; `option` names it in the error. Error: bad_value.
Result<std::vector<double>> parse_numbers(const std::string& text, std::size_t count,
                                          const std::string& option);

// The shortest text that reads as the same number again.
std::string shortest_text(double value);

// Of decimal digits and nothing else; none where it is another text, or too large.
std::optional<std::size_t> whole_number(std::string_view text);

}  // namespace bindhue::capture

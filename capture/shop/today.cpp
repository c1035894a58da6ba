#include "shop/today.hpp"

#include <ctime>

namespace bindhue::capture {

std::string today() {
    const std::time_t now = std::time(nullptr);
    std::tm local{};
    char text[16] = "";
    if (localtime_r(&now, &local) != nullptr) std::strftime(text, sizeof text, "%Y-%m-%d", &local);
    return text;
}

}  // namespace bindhue::capture

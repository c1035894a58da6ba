#include "colour/words.hpp"

#include <array>

namespace bindhue {
namespace {

struct Sector {
    double below;  // degrees
    const char* name;
};
constexpr std::array sectors{Sector{15, "pink-red"},    Sector{45, "red"},     Sector{73, "orange"},
                             Sector{100, "yellow"},     Sector{125, "yellow-green"}, Sector{175, "green"},
                             Sector{215, "blue-green"}, Sector{255, "sky blue"},   Sector{295, "blue"},
                             Sector{318, "violet"},     Sector{340, "purple"}, Sector{361, "magenta"}};

}  // namespace

std::string colour_words(const Lab<D50>& colour) {
    const LCh<D50> c = to_lch(colour);
    const bool dark = c.L < 35, light = c.L >= 70;
    if (c.C < 6) return c.L < 22 ? "black" : c.L >= 88 ? "white" : dark ? "dark grey" : light ? "light grey" : "grey";
    std::string out = dark ? "dark " : light ? "light " : "";
    out += c.C < 25 ? "dull " : c.C >= 55 ? "vivid " : "";
    for (const Sector& sector : sectors)
        if (c.h < sector.below) return out + sector.name;
    return out;
}

}  // namespace bindhue

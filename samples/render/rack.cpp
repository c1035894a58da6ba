// The rack of the demo shop. Every name, code and colour is invented; a code is the row and the peg where the
// spool hangs.
#include <array>
#include <stdexcept>

#include "thread.hpp"

namespace bindhue::render {

const std::vector<Spool>& demo_spools() {
    static const std::vector<Spool> rack{
        {"R1-01", "White", Material::nylon, "A", 0.15, {92, 0, 3}},
        {"R1-02", "Bone", Material::nylon, "A", 0.15, {87, 1, 11}},
        {"R1-03", "Pale Lemon", Material::nylon, "A", 0.15, {88, -5, 38}},
        {"R1-04", "Primrose", Material::nylon, "A", 0.15, {85, -2, 52}},
        {"R1-05", "Marigold", Material::nylon, "A", 0.15, {76, 18, 68}},
        {"R1-06", "Amber Ale", Material::nylon, "A", 0.15, {66, 24, 58}},
        {"R1-07", "Apricot", Material::nylon, "A", 0.15, {76, 22, 34}},
        {"R1-08", "Copper Leaf", Material::nylon, "A", 0.15, {55, 34, 42}},
        {"R1-09", "Rust", Material::nylon, "A", 0.15, {44, 36, 34}},
        {"R1-10", "Signal Orange", Material::nylon, "A", 0.15, {61, 50, 54}},
        {"R1-11", "Poppy", Material::nylon, "A", 0.15, {49, 57, 38}},
        {"R1-12", "Scarlet Oak", Material::nylon, "A", 0.15, {44, 58, 27}},
        {"R1-13", "Brick", Material::nylon, "A", 0.15, {41, 38, 22}},
        {"R1-14", "Ruby", Material::nylon, "A", 0.15, {36, 48, 15}},
        {"R1-15", "Wine Dark", Material::nylon, "A", 0.15, {28, 31, 6}},
        {"R1-16", "Rose Hip", Material::nylon, "A", 0.15, {56, 46, 12}},
        {"R1-17", "Shell Pink", Material::nylon, "A", 0.15, {78, 20, 6}},
        {"R1-18", "Heather", Material::nylon, "A", 0.15, {60, 24, -14}},
        {"R1-19", "Plum", Material::nylon, "A", 0.15, {32, 26, -13}},
        {"R1-20", "Iris", Material::nylon, "A", 0.15, {44, 25, -38}},
        {"R1-21", "Lilac Mist", Material::nylon, "A", 0.15, {70, 13, -17}},
        {"R1-22", "Cornflower", Material::nylon, "A", 0.15, {52, 6, -43}},
        {"R1-23", "Harbour Blue", Material::nylon, "A", 0.15, {41, 3, -37}},
        {"R1-24", "Deep Navy", Material::nylon, "A", 0.15, {24, 6, -22}},
        {"R1-25", "Sky Wash", Material::nylon, "A", 0.15, {74, -9, -19}},
        {"R1-26", "Kingfisher", Material::nylon, "A", 0.15, {51, -22, -29}},
        {"R1-27", "Teal", Material::nylon, "A", 0.15, {43, -27, -13}},
        {"R1-28", "Sea Glass", Material::nylon, "A", 0.15, {74, -22, 2}},
        {"R1-29", "Mint Leaf", Material::nylon, "A", 0.15, {68, -35, 14}},
        {"R1-30", "Emerald", Material::nylon, "A", 0.15, {46, -42, 13}},
        {"R1-31", "Spruce", Material::nylon, "A", 0.15, {34, -24, 8}},
        {"R1-32", "Fern", Material::nylon, "A", 0.15, {54, -30, 33}},
        {"R1-33", "Lime Rind", Material::nylon, "A", 0.15, {76, -28, 58}},
        {"R1-34", "Moss", Material::nylon, "A", 0.15, {47, -11, 29}},
        {"R1-35", "Olive Drab", Material::nylon, "A", 0.15, {39, -3, 21}},
        {"R1-36", "Buckskin", Material::nylon, "A", 0.15, {68, 9, 29}},
        {"R1-37", "Chestnut", Material::nylon, "A", 0.15, {34, 19, 18}},
        {"R1-38", "Raven", Material::nylon, "A", 0.15, {21, 0, -1}},
        {"R1-39", "Slate", Material::nylon, "A", 0.15, {43, -2, -6}},
        {"R1-40", "Silver Birch", Material::nylon, "A", 0.15, {70, -1, 1}},
        {"R2-01", "White", Material::nylon, "C", 0.22, {91, 0, 4}},
        {"R2-02", "Butter", Material::nylon, "C", 0.22, {84, 0, 44}},
        {"R2-03", "Gold Dust", Material::nylon, "C", 0.22, {71, 15, 56}},
        {"R2-04", "Tangerine", Material::nylon, "C", 0.22, {63, 43, 50}},
        {"R2-05", "Cardinal", Material::nylon, "C", 0.22, {41, 53, 24}},
        {"R2-06", "Garnet", Material::nylon, "C", 0.22, {32, 40, 13}},
        {"R2-07", "Magenta Bell", Material::nylon, "C", 0.22, {49, 55, -8}},
        {"R2-08", "Violet Dusk", Material::nylon, "C", 0.22, {38, 29, -30}},
        {"R2-09", "Royal", Material::nylon, "C", 0.22, {36, 11, -43}},
        {"R2-10", "Powder Blue", Material::nylon, "C", 0.22, {70, -7, -23}},
        {"R2-11", "Bottle Green", Material::nylon, "C", 0.22, {33, -29, 10}},
        {"R2-12", "Reed Green", Material::nylon, "C", 0.22, {58, -22, 30}},
        {"R2-13", "Tan Hide", Material::nylon, "C", 0.22, {63, 10, 26}},
        {"R2-14", "Peat", Material::nylon, "C", 0.22, {27, 9, 10}},
        {"R2-15", "Charcoal", Material::nylon, "C", 0.22, {29, 0, -2}},
        {"R2-16", "Dove", Material::nylon, "C", 0.22, {62, 0, -1}},
        {"R3-01", "White", Material::nylon, "D", 0.26, {91, 0, 2}},
        {"R3-02", "Maize", Material::nylon, "D", 0.26, {79, 8, 60}},
        {"R3-03", "Flame", Material::nylon, "D", 0.26, {55, 55, 44}},
        {"R3-04", "Crimson", Material::nylon, "D", 0.26, {38, 51, 19}},
        {"R3-05", "Maroon", Material::nylon, "D", 0.26, {29, 33, 10}},
        {"R3-06", "Cobalt", Material::nylon, "D", 0.26, {40, 7, -42}},
        {"R3-07", "Midnight", Material::nylon, "D", 0.26, {22, 3, -13}},
        {"R3-08", "Jade", Material::nylon, "D", 0.26, {52, -37, 9}},
        {"R3-09", "Hunter", Material::nylon, "D", 0.26, {30, -22, 11}},
        {"R3-10", "Sand", Material::nylon, "D", 0.26, {74, 5, 21}},
        {"R3-11", "Walnut", Material::nylon, "D", 0.26, {31, 14, 14}},
        {"R3-12", "Black", Material::nylon, "D", 0.26, {20, 0, 0}},
        {"R4-01", "Chalk", Material::ncp_nylon, "A", 0.15, {93, 0, 1}},
        {"R4-02", "Ivory", Material::ncp_nylon, "A", 0.15, {88, 1, 14}},
        {"R4-03", "Straw", Material::ncp_nylon, "A", 0.15, {84, 0, 36}},
        {"R4-04", "Canary", Material::ncp_nylon, "A", 0.15, {83, -3, 64}},
        {"R4-05", "Sunset", Material::ncp_nylon, "A", 0.15, {66, 38, 55}},
        {"R4-06", "Coral", Material::ncp_nylon, "A", 0.15, {64, 42, 29}},
        {"R4-07", "Fire Red", Material::ncp_nylon, "A", 0.15, {47, 59, 34}},
        {"R4-08", "Barn Red", Material::ncp_nylon, "A", 0.15, {37, 42, 22}},
        {"R4-09", "Berry", Material::ncp_nylon, "A", 0.15, {37, 40, 2}},
        {"R4-10", "Blush", Material::ncp_nylon, "A", 0.15, {80, 15, 4}},
        {"R4-11", "Mauve", Material::ncp_nylon, "A", 0.15, {55, 21, -21}},
        {"R4-12", "Purple Night", Material::ncp_nylon, "A", 0.15, {31, 29, -28}},
        {"R4-13", "Denim", Material::ncp_nylon, "A", 0.15, {45, -2, -26}},
        {"R4-14", "Electric Blue", Material::ncp_nylon, "A", 0.15, {44, 8, -49}},
        {"R4-15", "Ice", Material::ncp_nylon, "A", 0.15, {81, -8, -9}},
        {"R4-16", "Lagoon", Material::ncp_nylon, "A", 0.15, {58, -28, -18}},
        {"R4-17", "Turquoise", Material::ncp_nylon, "A", 0.15, {63, -34, -8}},
        {"R4-18", "Forest", Material::ncp_nylon, "A", 0.15, {35, -30, 14}},
        {"R4-19", "Apple", Material::ncp_nylon, "A", 0.15, {65, -39, 41}},
        {"R4-20", "Sage", Material::ncp_nylon, "A", 0.15, {63, -11, 15}},
        {"R4-21", "Khaki", Material::ncp_nylon, "A", 0.15, {58, 2, 25}},
        {"R4-22", "Toffee", Material::ncp_nylon, "A", 0.15, {48, 17, 33}},
        {"R4-23", "Cocoa", Material::ncp_nylon, "A", 0.15, {33, 13, 15}},
        {"R4-24", "Graphite", Material::ncp_nylon, "A", 0.15, {36, 0, -2}},
        {"R4-25", "Pewter", Material::ncp_nylon, "A", 0.15, {56, -1, -2}},
        {"R4-26", "Ink", Material::ncp_nylon, "A", 0.15, {22, 0, -2}},
        {"R4-27", "Butterscotch", Material::ncp_nylon, "A", 0.15, {71, 14, 44}},
        {"R4-28", "Salmon", Material::ncp_nylon, "A", 0.15, {70, 29, 21}},
        {"R5-01", "Chalk", Material::ncp_nylon, "D", 0.26, {92, 0, 2}},
        {"R5-02", "Lemon Peel", Material::ncp_nylon, "D", 0.26, {82, 1, 58}},
        {"R5-03", "Blaze", Material::ncp_nylon, "D", 0.26, {57, 52, 48}},
        {"R5-04", "Post Red", Material::ncp_nylon, "D", 0.26, {43, 55, 28}},
        {"R5-05", "Marine", Material::ncp_nylon, "D", 0.26, {35, 6, -34}},
        {"R5-06", "Pine", Material::ncp_nylon, "D", 0.26, {36, -26, 12}},
        {"R5-07", "Hazel", Material::ncp_nylon, "D", 0.26, {50, 11, 27}},
        {"R5-08", "Coal", Material::ncp_nylon, "D", 0.26, {22, 0, -1}},
        {"R6-01", "Snow", Material::polyester, "A", 0.16, {91, 0, 1}},
        {"R6-02", "Honey", Material::polyester, "A", 0.16, {72, 16, 50}},
        {"R6-03", "Paprika", Material::polyester, "A", 0.16, {48, 47, 36}},
        {"R6-04", "Claret", Material::polyester, "A", 0.16, {31, 37, 9}},
        {"R6-05", "Orchid", Material::polyester, "A", 0.16, {58, 35, -17}},
        {"R6-06", "Indigo", Material::polyester, "A", 0.16, {28, 16, -31}},
        {"R6-07", "Azure", Material::polyester, "A", 0.16, {56, -10, -38}},
        {"R6-08", "Aqua", Material::polyester, "A", 0.16, {70, -25, -10}},
        {"R6-09", "Leaf", Material::polyester, "A", 0.16, {50, -33, 28}},
        {"R6-10", "Avocado", Material::polyester, "A", 0.16, {43, -8, 27}},
        {"R6-11", "Camel", Material::polyester, "A", 0.16, {59, 11, 29}},
        {"R6-12", "Umber", Material::polyester, "A", 0.16, {30, 10, 13}},
        {"R6-13", "Steel", Material::polyester, "A", 0.16, {50, -2, -5}},
        {"R6-14", "Jet", Material::polyester, "A", 0.16, {21, 0, -1}},
        {"R6-15", "Peach", Material::polyester, "A", 0.16, {78, 17, 25}},
        {"R6-16", "Lavender", Material::polyester, "A", 0.16, {66, 15, -23}},
        {"R7-01", "Natural", Material::silk, "00", 0.11, {86, 2, 16}},
        {"R7-02", "Cream", Material::silk, "00", 0.11, {87, 0, 20}},
        {"R7-03", "Old Gold", Material::silk, "00", 0.11, {62, 14, 46}},
        {"R7-04", "Orange Silk", Material::silk, "00", 0.11, {62, 40, 48}},
        {"R7-05", "Scarlet", Material::silk, "00", 0.11, {45, 55, 31}},
        {"R7-06", "Garnet", Material::silk, "00", 0.11, {33, 39, 14}},
        {"R7-07", "Claret", Material::silk, "00", 0.11, {28, 28, 7}},
        {"R7-08", "Chestnut", Material::silk, "00", 0.11, {38, 22, 22}},
        {"R7-09", "Tan", Material::silk, "00", 0.11, {68, 10, 27}},
        {"R7-10", "Olive", Material::silk, "00", 0.11, {45, -5, 26}},
        {"R7-11", "Highland Green", Material::silk, "00", 0.11, {36, -20, 14}},
        {"R7-12", "Spring Green", Material::silk, "00", 0.11, {62, -29, 34}},
        {"R7-13", "Peacock", Material::silk, "00", 0.11, {43, -23, -21}},
        {"R7-14", "Royal Blue", Material::silk, "00", 0.11, {34, 10, -38}},
        {"R7-15", "Violet", Material::silk, "00", 0.11, {40, 28, -27}},
        {"R7-16", "Black", Material::silk, "00", 0.11, {19, 0, 0}},
        {"R7-17", "Grey Mist", Material::silk, "00", 0.11, {63, 0, 2}},
        {"R7-18", "Medium Brown", Material::silk, "00", 0.11, {45, 15, 22}},
        {"R8-01", "Silver Foil", Material::metallic, "A", 0.17, {82, 0, 2}},
        {"R8-02", "Gold Foil", Material::metallic, "A", 0.17, {75, 6, 42}},
        {"R8-03", "Copper Foil", Material::metallic, "A", 0.17, {63, 24, 32}},
        {"R8-04", "Red Foil", Material::metallic, "A", 0.17, {49, 46, 20}},
        {"R8-05", "Blue Foil", Material::metallic, "A", 0.17, {50, 2, -33}},
        {"R8-06", "Green Foil", Material::metallic, "A", 0.17, {57, -30, 14}},
    };
    return rack;
}

namespace {

std::vector<Spool> hung;

}  // namespace

void hang_measured(const std::vector<Spectrum>& dry) {
    constexpr std::array materials{Material::nylon, Material::ncp_nylon, Material::polyester, Material::silk};
    for (const Spectrum& s : dry) {
        const Material material = materials[hung.size() % materials.size()];
        const bool silk = material == Material::silk;
        const std::string code = "M-" + std::to_string(hung.size() + 1);
        hung.push_back({code, code, material, silk ? "00" : "A", silk ? 0.11 : 0.15, lab_d50(s), s});
    }
}

const std::vector<Spool>& measured_spools() { return hung; }

const Spool& spool_coded(const std::string& code) {
    for (const auto* rack : {&demo_spools(), &measured_spools()})
        for (const Spool& s : *rack)
            if (s.code == code) return s;
    throw std::runtime_error("no spool coded \"" + code + "\": see palettes/demo-shop/spools.json");
}

}  // namespace bindhue::render

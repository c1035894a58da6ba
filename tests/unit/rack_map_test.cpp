#include "sheet/rack_map.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <regex>

using namespace bindhue;
using namespace bindhue::capture;

TEST_CASE("On the discs of a rack red is to the right, yellow above, and vivid colours lie on the rim") {
    CHECK(on_disc({50, outermost_chroma / 2, 0}).x == Approx(0.5));
    CHECK(on_disc({50, 0, 23}).y == Approx(-0.2));
    const DiscPoint far = on_disc({50, -300, -400});
    CHECK(std::hypot(far.x, far.y) == Approx(1));
    CHECK(far.x == Approx(-0.6));
    CHECK(on_disc({50, 0, 0}).x == 0);
    for (const double L : {0.0, 34.99, 35.0, 69.0, 70.0, 100.0, 110.0}) {
        int levels = 0;
        for (const RackLevel& level : rack_levels) levels += level.has({L, 0, 0});
        CHECK(levels == 1);
    }
}

TEST_CASE("The open area is where looks are asked for and not served, and nothing else") {
    const std::vector<AskedLook> asked{{{50, 60, 40}, 1}, {{50, -40, 30}, 1}, {{20, 0, 0}, 1}};
    Spool spool;
    spool.code = "only";
    spool.readings = {{{50, 60, 40}, {}, {}}};
    const Palette palette{spool};
    const std::vector<SpoolLook> looks{{0, Schedule::finish, 0, {50, 60, 40}}};
    const auto found = audit(palette, looks, asked);
    REQUIRE(found);
    // The middle of its runs of cells is that of the one look of this level that is not served; its size is as the tolerance reaches.
    const std::string path = open_area(rack_levels[1], asked, *found, 2);
    const std::regex run("M(-?\\d+) (-?\\d+)h(\\d+)v1h-(\\d+)z");
    double x = 0, y = 0, cells = 0;
    std::size_t length = 0;
    for (std::sregex_iterator at(path.begin(), path.end(), run), end; at != end; ++at) {
        const double width = std::stod((*at)[3]);
        CHECK((*at)[3] == (*at)[4]);
        x += width * (std::stod((*at)[1]) + width / 2);
        y += width * (std::stod((*at)[2]) + 0.5);
        cells += width;
        length += static_cast<std::size_t>(at->length());
    }
    REQUIRE(cells > 0);
    CHECK(length == path.size());
    const DiscPoint middle = on_disc(asked[1].lab);
    CHECK(x / cells == Approx(100 * middle.x).margin(0.5));
    CHECK(y / cells == Approx(100 * middle.y).margin(0.5));
    const double reach = 100 * reach_on_disc(asked[1].lab, 2);
    CHECK(cells == Approx(3.14159 * reach * reach).epsilon(0.3));
    CHECK(open_area(rack_levels[2], asked, *found, 2).empty());
    CHECK_FALSE(open_area(rack_levels[0], asked, *found, 2).empty());
}

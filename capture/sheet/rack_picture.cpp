#include "sheet/rack_picture.hpp"

#include <array>
#include <cmath>
#include <numbers>
#include <string>

#include "sheet/drawing.hpp"

namespace bindhue::capture {
namespace {

constexpr double width = 1560, height = 950;
constexpr double radius = 200, disc_y = 340, outermost_chroma = 115;
constexpr std::size_t most_gaps = 15;

struct Level {
    const char* name;
    double from, below;  // L
    double x;            // of the disc's middle
};
// The limits of "dark" and "light" in colour_words.
constexpr std::array levels{Level{"dark: L* below 35", 0, 35, 290}, Level{"middle: L* 35 to 70", 35, 70, 780},
                            Level{"light: L* 70 and more", 70, 1000, 1270}};

Point place(const Level& level, const Lab<D50>& c) {
    const double chroma = std::hypot(c.a, c.b);
    const double shrink = radius / outermost_chroma * std::min(1.0, outermost_chroma / std::max(chroma, 1e-9));
    return {level.x + shrink * c.a, disc_y - shrink * c.b};
}
bool on(const Level& level, const Lab<D50>& c) { return c.L >= level.from && c.L < level.below; }

void draw(Drawing& pen, const Palette& palette, std::span<const SpoolLook> looks,
          std::span<const AskedLook> asked, const Audit& audit, double tolerance) {
    pen.grey(0.72);
    pen.all();
    pen.grey(0);
    pen.text(40, 48,
             formatted("%zu spools serve %.1f %% of the %zu looks asked for, within %.1f CIEDE2000", palette.size(),
                       100 * audit.served, asked.size(), tolerance),
             26, true);
    pen.text(40, 78,
             "Dots: finished looks of the spools, in their colours. White: looks asked for that no spool serves; "
             "its numbers are the gaps listed below.",
             16);
    for (const Level& level : levels) {
        const Point middle{level.x, disc_y};
        pen.grey(0.62);
        pen.disc(middle, radius);
        // Outlines first, so that what lies together becomes one open area.
        for (const double edge : {1.2, 0.0}) {
            pen.grey(edge > 0 ? 0.25 : 1.0);
            for (std::size_t t = 0; t < asked.size(); ++t) {
                const Lab<D50>& c = asked[t].lab;
                if (audit.nearest[t].delta_e <= tolerance || !on(level, c)) continue;
                // As far as the tolerance reaches, about: in CIEDE2000 a difference shrinks with chroma.
                const double reach = tolerance * (1 + 0.03 * std::hypot(c.a, c.b));
                pen.disc(place(level, c), 0.7 * reach * radius / outermost_chroma + edge);
            }
        }
        pen.grey(0.45);
        for (const double chroma : {25.0, 55.0, outermost_chroma})
            pen.ring(middle, radius * chroma / outermost_chroma, 0.8);
        for (const SpoolLook& look : looks) {
            if (!on(level, look.lab)) continue;
            pen.grey(look.lab.L < 50 ? 0.95 : 0.1);
            pen.disc(place(level, look.lab), 5.2);
            pen.colour(look.lab);
            pen.disc(place(level, look.lab), 4.4);
        }
        pen.grey(0);
        for (std::size_t g = 0; g < std::min(most_gaps, audit.gaps.size()); ++g) {
            const Gap& gap = audit.gaps[g];
            if (!on(level, gap.middle)) continue;
            const Point at = place(level, gap.middle);
            pen.grey(0);
            pen.disc(at, 11);
            pen.grey(1);
            pen.centred(at, std::to_string(g + 1), 13, true);
        }
        pen.grey(0);
        pen.centred({level.x, disc_y + radius + 48}, level.name, 18, true);
        constexpr std::array<std::pair<double, const char*>, 8> hues{{{30, "red"},
                                                                      {60, "orange"},
                                                                      {90, "yellow"},
                                                                      {150, "green"},
                                                                      {190, "blue-green"},
                                                                      {270, "blue"},
                                                                      {306, "violet"},
                                                                      {340, "magenta"}}};
        for (const auto& [hue, word] : hues) {
            const double angle = hue / 180 * std::numbers::pi, side = std::cos(angle);
            const Point at{level.x + (radius + 8) * side, disc_y - (radius + 14) * std::sin(angle) + 5};
            pen.beside(at, word, 14, side > 0.2 ? 0 : side < -0.2 ? 1 : 0.5);
        }
        for (const double chroma : {25.0, 55.0, outermost_chroma}) {
            const double out = radius * chroma / outermost_chroma * std::numbers::sqrt2 / 2;
            pen.beside({level.x - out, disc_y + out + 12}, formatted("C* %.0f", chroma), 11, 0.5);
        }
    }
    const double top = disc_y + radius + 100;
    if (audit.gaps.empty()) {
        pen.text(40, top, "There is no gap.", 18, true);
        return;
    }
    pen.text(40, top, "The largest gaps, most asked for first: share of what is asked for; where one more spool would serve most, and how far the nearest is from there",
             16, true);
    constexpr std::size_t rows = 5;
    for (std::size_t g = 0; g < std::min(most_gaps, audit.gaps.size()); ++g) {
        const Gap& gap = audit.gaps[g];
        const double x = 40 + 510 * static_cast<double>(g / rows), y = top + 38 + 46 * static_cast<double>(g % rows);
        pen.colour(gap.middle);
        pen.rectangle(x + 30, y - 17, 36, 34);
        pen.grey(0);
        pen.text(x, y + 5, std::to_string(g + 1), 16, true);
        pen.text(x + 76, y - 2, formatted("%s  %.1f %%", gap.words.c_str(), 100 * gap.share), 16, true);
        pen.text(x + 76, y + 16,
                 formatted("L* a* b* %.0f %.0f %.0f; nearest: %.24s, %.1f off", gap.middle.L, gap.middle.a,
                           gap.middle.b, palette[looks[gap.nearest].spool].code.c_str(), gap.delta_e),
                 14);
    }
}

}  // namespace

Status write_rack_picture(const Palette& palette, std::span<const SpoolLook> looks,
                          std::span<const AskedLook> asked, const Audit& audit, double tolerance,
                          const std::filesystem::path& path) {
    return write_drawing(path, width, height,
                         [&](Drawing& pen) { draw(pen, palette, looks, asked, audit, tolerance); });
}

}  // namespace bindhue::capture

#include "sheet/rack_picture.hpp"

#include <array>
#include <cmath>
#include <numbers>
#include <string>

#include "sheet/drawing.hpp"
#include "sheet/rack_map.hpp"

namespace bindhue::capture {
namespace {

constexpr double width = 1560, height = 950;
constexpr double radius = 200, disc_y = 340;
constexpr std::array middles{290.0, 780.0, 1270.0};  // of the discs, across

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
    for (std::size_t l = 0; l < rack_levels.size(); ++l) {
        const RackLevel& level = rack_levels[l];
        const Point middle{middles[l], disc_y};
        const auto place = [&](const Lab<D50>& c) {
            const DiscPoint at = on_disc(c);
            return Point{middle.x + radius * at.x, middle.y + radius * at.y};
        };
        pen.grey(0.62);
        pen.disc(middle, radius);
        // Outlines first, so that what lies together becomes one open area.
        for (const double edge : {1.2, 0.0}) {
            pen.grey(edge > 0 ? 0.25 : 1.0);
            for (std::size_t t = 0; t < asked.size(); ++t) {
                const Lab<D50>& c = asked[t].lab;
                if (audit.nearest[t].delta_e <= tolerance || !level.has(c)) continue;
                pen.disc(place(c), radius * reach_on_disc(c, tolerance) + edge);
            }
        }
        pen.grey(0.45);
        for (const double chroma : chroma_rings)
            pen.ring(middle, radius * chroma / outermost_chroma, 0.8);
        for (const SpoolLook& look : looks) {
            if (!level.has(look.lab)) continue;
            pen.grey(look.lab.L < 50 ? 0.95 : 0.1);
            pen.disc(place(look.lab), 5.2);
            pen.colour(look.lab);
            pen.disc(place(look.lab), 4.4);
        }
        pen.grey(0);
        for (std::size_t g = 0; g < std::min(most_gaps_shown, audit.gaps.size()); ++g) {
            const Gap& gap = audit.gaps[g];
            if (!level.has(gap.middle)) continue;
            const Point at = place(gap.middle);
            pen.grey(0);
            pen.disc(at, 11);
            pen.grey(1);
            pen.centred(at, std::to_string(g + 1), 13, true);
        }
        pen.grey(0);
        pen.centred({middle.x, disc_y + radius + 48}, level.name, 18, true);
        for (const auto& [hue, word] : hue_names) {
            const double angle = hue / 180 * std::numbers::pi, side = std::cos(angle);
            const Point at{middle.x + (radius + 8) * side, disc_y - (radius + 14) * std::sin(angle) + 5};
            pen.beside(at, word, 14, side > 0.2 ? 0 : side < -0.2 ? 1 : 0.5);
        }
        for (const double chroma : chroma_rings) {
            const double out = radius * chroma / outermost_chroma * std::numbers::sqrt2 / 2;
            pen.beside({middle.x - out, disc_y + out + 12}, formatted("C* %.0f", chroma), 11, 0.5);
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
    for (std::size_t g = 0; g < std::min(most_gaps_shown, audit.gaps.size()); ++g) {
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

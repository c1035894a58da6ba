#include "sheet/rack_picture.hpp"

#include <cairo-svg.h>

#include <array>
#include <cmath>
#include <cstdio>
#include <functional>
#include <memory>
#include <numbers>
#include <string>

#include "colour/adaptation.hpp"
#include "shop/atomic_file.hpp"

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

struct Point {
    double x, y;
};
Point place(const Level& level, const Lab<D50>& c) {
    const double chroma = std::hypot(c.a, c.b);
    const double shrink = radius / outermost_chroma * std::min(1.0, outermost_chroma / std::max(chroma, 1e-9));
    return {level.x + shrink * c.a, disc_y - shrink * c.b};
}
bool on(const Level& level, const Lab<D50>& c) { return c.L >= level.from && c.L < level.below; }

class Drawing {
  public:
    explicit Drawing(cairo_t* cairo) : cairo_(cairo) {
        cairo_select_font_face(cairo_, "sans-serif", CAIRO_FONT_SLANT_NORMAL, CAIRO_FONT_WEIGHT_NORMAL);
    }
    void grey(double v) { cairo_set_source_rgb(cairo_, v, v, v); }
    void colour(const Lab<D50>& c) {
        const EncodedSrgb shown = to_display(c);
        cairo_set_source_rgb(cairo_, shown.r, shown.g, shown.b);
    }
    void all() { cairo_paint(cairo_); }
    void disc(const Point& at, double r) {
        circle(at, r);
        cairo_fill(cairo_);
    }
    void ring(const Point& at, double r, double line) {
        circle(at, r);
        cairo_set_line_width(cairo_, line);
        cairo_stroke(cairo_);
    }
    void rectangle(double x, double y, double w, double h) {
        cairo_rectangle(cairo_, x, y, w, h);
        cairo_fill(cairo_);
    }
    void text(double x, double y, const std::string& words, double size, bool bold = false) {
        font(size, bold);
        cairo_move_to(cairo_, x, y);
        cairo_show_text(cairo_, words.c_str());
        cairo_new_path(cairo_);
    }
    // share: of the words' width that stands to the left of x.
    void beside(const Point& at, const std::string& words, double size, double share) {
        font(size, false);
        cairo_text_extents_t extents;
        cairo_text_extents(cairo_, words.c_str(), &extents);
        text(at.x - share * extents.x_advance, at.y, words, size);
    }
    void centred(const Point& at, const std::string& words, double size, bool bold = false) {
        font(size, bold);
        cairo_text_extents_t extents;
        cairo_text_extents(cairo_, words.c_str(), &extents);
        text(at.x - extents.x_advance / 2, at.y + 0.35 * size, words, size, bold);
    }

  private:
    void circle(const Point& at, double r) {
        cairo_new_path(cairo_);
        cairo_arc(cairo_, at.x, at.y, r, 0, 2 * std::numbers::pi);
    }
    void font(double size, bool bold) {
        cairo_select_font_face(cairo_, "sans-serif", CAIRO_FONT_SLANT_NORMAL,
                               bold ? CAIRO_FONT_WEIGHT_BOLD : CAIRO_FONT_WEIGHT_NORMAL);
        cairo_set_font_size(cairo_, size);
    }
    cairo_t* cairo_;
};

std::string formatted(const char* format, auto... values) {
    std::array<char, 160> text{};
    std::snprintf(text.data(), text.size(), format, values...);
    return text.data();
}

void draw(cairo_t* cairo, const Palette& palette, std::span<const SpoolLook> looks,
          std::span<const AskedLook> asked, const Audit& audit, double tolerance) {
    Drawing pen(cairo);
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

cairo_status_t append(void* to, const unsigned char* bytes, unsigned count) {
    static_cast<std::string*>(to)->append(reinterpret_cast<const char*>(bytes), count);
    return CAIRO_STATUS_SUCCESS;
}

}  // namespace

Status write_rack_picture(const Palette& palette, std::span<const SpoolLook> looks,
                          std::span<const AskedLook> asked, const Audit& audit, double tolerance,
                          const std::filesystem::path& path) {
    const std::string ending = path.extension().string();
    if (ending != ".png" && ending != ".svg")
        return Error{Reason::bad_value, "The picture's name ends neither in .png nor in .svg.", path.string(),
                     "Name it so that it does."};
    std::string document;
    const auto whole = static_cast<int>(width), high = static_cast<int>(height);
    std::unique_ptr<cairo_surface_t, void (*)(cairo_surface_t*)> surface(
        ending == ".png" ? cairo_image_surface_create(CAIRO_FORMAT_RGB24, whole, high)
                         : cairo_svg_surface_create_for_stream(append, &document, width, height),
        cairo_surface_destroy);
    cairo_t* cairo = cairo_create(surface.get());
    draw(cairo, palette, looks, asked, audit, tolerance);
    cairo_status_t status = cairo_status(cairo);
    cairo_destroy(cairo);
    if (status == CAIRO_STATUS_SUCCESS && ending == ".png")
        status = cairo_surface_write_to_png_stream(surface.get(), append, &document);
    cairo_surface_finish(surface.get());
    if (status == CAIRO_STATUS_SUCCESS) status = cairo_surface_status(surface.get());
    if (status != CAIRO_STATUS_SUCCESS)
        return Error{Reason::storage, std::string("The picture could not be drawn: ") + cairo_status_to_string(status) + ".",
                     path.string(), "Free some memory, and try again."};
    return save_file(path, document, Previous::forgotten);
}

}  // namespace bindhue::capture

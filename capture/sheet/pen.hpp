// Pages of print: lines, areas and words in millimetres, as PDF or SVG.
#pragma once

#include <cairo.h>

#include <algorithm>
#include <functional>
#include <string>
#include <vector>

#include "colour/result.hpp"
#include "colour/spaces.hpp"
#include "shop/card_layout.hpp"

namespace bindhue::capture {

// Draws in millimetres from the page's upper left corner, on one page.
class Pen {
  public:
    explicit Pen(cairo_t* cairo) : cairo_(cairo) {
        cairo_select_font_face(cairo_, "sans-serif", CAIRO_FONT_SLANT_NORMAL, CAIRO_FONT_WEIGHT_NORMAL);
        // Otherwise letters are set on whole points, which at a few millimetres is rough.
        cairo_font_options_t* options = cairo_font_options_create();
        cairo_font_options_set_hint_style(options, CAIRO_HINT_STYLE_NONE);
        cairo_font_options_set_hint_metrics(options, CAIRO_HINT_METRICS_OFF);
        cairo_set_font_options(cairo_, options);
        cairo_font_options_destroy(options);
        colour(0);
    }

    void colour(const EncodedSrgb& c) { cairo_set_source_rgb(cairo_, c.r, c.g, c.b); }
    void colour(double grey) { cairo_set_source_rgb(cairo_, grey, grey, grey); }

    void fill(const CardRect& r) {
        cairo_rectangle(cairo_, r.x_mm, r.y_mm, r.width_mm, r.height_mm);
        cairo_fill(cairo_);
    }
    // As one area, so that no hairline shows where two meet.
    void fill(const std::vector<CardRect>& rects) {
        for (const CardRect& r : rects) cairo_rectangle(cairo_, r.x_mm, r.y_mm, r.width_mm, r.height_mm);
        cairo_fill(cairo_);
    }
    void outline(const CardRect& r, double width_mm, bool dashed) {
        cairo_rectangle(cairo_, r.x_mm, r.y_mm, r.width_mm, r.height_mm);
        stroke(width_mm, dashed);
    }
    void line(const CardPoint& from, const CardPoint& to, double width_mm) {
        cairo_move_to(cairo_, from.x_mm, from.y_mm);
        cairo_line_to(cairo_, to.x_mm, to.y_mm);
        stroke(width_mm, false);
    }
    void disc(const CardPoint& centre, double diameter_mm) {
        circle(centre, diameter_mm);
        cairo_fill(cairo_);
    }
    void ring(const CardPoint& centre, double diameter_mm, double width_mm, bool dashed) {
        circle(centre, diameter_mm);
        stroke(width_mm, dashed);
    }

    void bold(bool on) {
        cairo_select_font_face(cairo_, "sans-serif", CAIRO_FONT_SLANT_NORMAL,
                               on ? CAIRO_FONT_WEIGHT_BOLD : CAIRO_FONT_WEIGHT_NORMAL);
    }
    double width_of(const std::string& text, double size_mm) {
        cairo_set_font_size(cairo_, size_mm);
        cairo_text_extents_t extents;
        cairo_text_extents(cairo_, text.c_str(), &extents);
        return extents.x_advance;
    }
    void text(const CardPoint& left_of_baseline, const std::string& text, double size_mm) {
        cairo_set_font_size(cairo_, size_mm);
        cairo_move_to(cairo_, left_of_baseline.x_mm, left_of_baseline.y_mm);
        cairo_show_text(cairo_, text.c_str());
        cairo_new_path(cairo_);
    }
    void centred(const CardPoint& middle_of_baseline, const std::string& words, double size_mm) {
        text({middle_of_baseline.x_mm - width_of(words, size_mm) / 2, middle_of_baseline.y_mm}, words,
             size_mm);
    }

    // Words set in lines of the given width; returns where the next line would stand.
    double paragraph(double x_mm, double y_mm, double width_mm, const std::string& words, double size_mm) {
        std::string line;
        std::size_t at = 0;
        while (at < words.size()) {
            const std::size_t end = std::min(words.find(' ', at), words.size());
            const std::string longer =
                line.empty() ? words.substr(at, end - at) : line + " " + words.substr(at, end - at);
            if (!line.empty() && width_of(longer, size_mm) > width_mm) {
                text({x_mm, y_mm}, line, size_mm);
                y_mm += 1.35 * size_mm;
                line = words.substr(at, end - at);
            } else {
                line = longer;
            }
            at = end + 1;
        }
        text({x_mm, y_mm}, line, size_mm);
        return y_mm + 1.35 * size_mm;
    }

    void move(const CardPoint& origin, double scale = 1) {
        cairo_save(cairo_);
        cairo_translate(cairo_, origin.x_mm, origin.y_mm);
        cairo_scale(cairo_, scale, scale);
    }
    void move_back() { cairo_restore(cairo_); }

  private:
    void circle(const CardPoint& centre, double diameter_mm) {
        cairo_new_path(cairo_);
        cairo_arc(cairo_, centre.x_mm, centre.y_mm, diameter_mm / 2, 0, 2 * 3.14159265358979323846);
        cairo_close_path(cairo_);
    }
    void stroke(double width_mm, bool dashed) {
        const double dash[] = {1.5, 1.0};
        cairo_set_dash(cairo_, dash, dashed ? 2 : 0, 0);
        cairo_set_line_width(cairo_, width_mm);
        cairo_stroke(cairo_);
    }

    cairo_t* cairo_;
};

using Page = std::function<void(Pen&)>;

// For measuring words before there is a page.
void on_scrap(const Page& page);

// Errors: bad_value if a text can't be set.
Result<std::string> pdf_of(const std::vector<Page>& pages, double width_mm, double height_mm, const std::string& title);
// One document to a page; width and height are in millimetres.
Result<std::vector<std::string>> svg_of(const std::vector<Page>& pages, double width_mm, double height_mm);

}  // namespace bindhue::capture

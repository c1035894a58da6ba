#include "sheet/drawing.hpp"

#include <cairo-svg.h>

#include <algorithm>
#include <cmath>
#include <memory>
#include <numbers>

#include "colour/adaptation.hpp"
#include "shop/atomic_file.hpp"

namespace bindhue::capture {
namespace {

cairo_status_t append(void* to, const unsigned char* bytes, unsigned count) {
    static_cast<std::string*>(to)->append(reinterpret_cast<const char*>(bytes), count);
    return CAIRO_STATUS_SUCCESS;
}

}  // namespace

void Drawing::grey(double v) { cairo_set_source_rgb(cairo_, v, v, v); }
void Drawing::colour(const Lab<D50>& c) {
    const EncodedSrgb shown = to_display(c);
    cairo_set_source_rgb(cairo_, shown.r, shown.g, shown.b);
}
void Drawing::all() { cairo_paint(cairo_); }
void Drawing::disc(const Point& at, double r) {
    circle(at, r);
    cairo_fill(cairo_);
}
void Drawing::ring(const Point& at, double r, double line) {
    circle(at, r);
    cairo_set_line_width(cairo_, line);
    cairo_stroke(cairo_);
}
void Drawing::rectangle(double x, double y, double w, double h) {
    cairo_rectangle(cairo_, x, y, w, h);
    cairo_fill(cairo_);
}
void Drawing::line(const Point& from, const Point& to, double thickness) {
    cairo_set_line_width(cairo_, thickness);
    cairo_move_to(cairo_, from.x, from.y);
    cairo_line_to(cairo_, to.x, to.y);
    cairo_stroke(cairo_);
}
void Drawing::arrow(const Point& from, const Point& to, double thickness) {
    const double length = std::hypot(to.x - from.x, to.y - from.y);
    if (length < 1e-6) return;
    const double head = std::min(4.5 * thickness, length), along_x = (to.x - from.x) / length, along_y = (to.y - from.y) / length;
    const Point neck{to.x - head * along_x, to.y - head * along_y};
    if (head < length) line(from, neck, thickness);
    cairo_move_to(cairo_, to.x, to.y);
    cairo_line_to(cairo_, neck.x - 0.45 * head * along_y, neck.y + 0.45 * head * along_x);
    cairo_line_to(cairo_, neck.x + 0.45 * head * along_y, neck.y - 0.45 * head * along_x);
    cairo_close_path(cairo_);
    cairo_fill(cairo_);
}
void Drawing::ellipse(const Point& middle, double xx, double xy, double yy, double thickness) {
    // By the lower triangular root of C.
    const double a = std::sqrt(std::max(xx, 1e-9)), b = xy / a, c = std::sqrt(std::max(yy - b * b, 1e-9));
    constexpr int steps = 72;
    for (int i = 0; i <= steps; ++i) {
        const double angle = 2 * std::numbers::pi * i / steps, u = std::cos(angle), v = std::sin(angle);
        cairo_line_to(cairo_, middle.x + a * u, middle.y + b * u + c * v);
    }
    cairo_set_line_width(cairo_, thickness);
    cairo_stroke(cairo_);
}
void Drawing::text(double x, double y, const std::string& words, double size, bool bold) {
    font(size, bold);
    cairo_move_to(cairo_, x, y);
    cairo_show_text(cairo_, words.c_str());
    cairo_new_path(cairo_);
}
void Drawing::beside(const Point& at, const std::string& words, double size, double share) {
    font(size, false);
    text(at.x - share * width_of(words), at.y, words, size);
}
void Drawing::centred(const Point& at, const std::string& words, double size, bool bold) {
    font(size, bold);
    text(at.x - width_of(words) / 2, at.y + 0.35 * size, words, size, bold);
}
void Drawing::circle(const Point& at, double r) {
    cairo_new_path(cairo_);
    cairo_arc(cairo_, at.x, at.y, r, 0, 2 * std::numbers::pi);
}
void Drawing::font(double size, bool bold) {
    cairo_select_font_face(cairo_, "sans-serif", CAIRO_FONT_SLANT_NORMAL,
                           bold ? CAIRO_FONT_WEIGHT_BOLD : CAIRO_FONT_WEIGHT_NORMAL);
    cairo_set_font_size(cairo_, size);
}
double Drawing::width_of(const std::string& words) {
    cairo_text_extents_t extents;
    cairo_text_extents(cairo_, words.c_str(), &extents);
    return extents.x_advance;
}

Status write_drawing(const std::filesystem::path& path, double width, double height,
                     const std::function<void(Drawing&)>& draw) {
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
    Drawing pen(cairo);
    draw(pen);
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

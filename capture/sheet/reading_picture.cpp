#include "sheet/reading_picture.hpp"

#include <cairo.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <memory>
#include <string>

#include <opencv2/imgproc.hpp>

#include "colour/adaptation.hpp"
#include "shop/atomic_file.hpp"

namespace bindhue::capture {
namespace {

constexpr int widest = 1600;
constexpr double strip_height = 250, margin = 36;
// L* 50: colours are judged against a neutral surround.
constexpr double surround = 0.4663;

struct CairoCloser {
    void operator()(cairo_t* c) const { cairo_destroy(c); }
    void operator()(cairo_surface_t* s) const { cairo_surface_destroy(s); }
};
using Context = std::unique_ptr<cairo_t, CairoCloser>;
using Surface = std::unique_ptr<cairo_surface_t, CairoCloser>;

void polygon(cairo_t* c, const std::vector<PixelPoint>& points, double scale) {
    cairo_new_path(c);
    for (const PixelPoint& p : points) cairo_line_to(c, (p.x_px + 0.5) * scale, (p.y_px + 0.5) * scale);
    cairo_close_path(c);
}

// White over black, to be seen on any colour.
void stroke_twice(cairo_t* c) {
    cairo_set_source_rgba(c, 0, 0, 0, 0.75);
    cairo_set_line_width(c, 3.5);
    cairo_stroke_preserve(c);
    cairo_set_source_rgb(c, 1, 1, 1);
    cairo_set_line_width(c, 1.5);
    cairo_stroke(c);
}

void centred(cairo_t* c, const std::string& text, double x, double y, double size, bool bold = false) {
    cairo_select_font_face(c, "sans-serif", CAIRO_FONT_SLANT_NORMAL, bold ? CAIRO_FONT_WEIGHT_BOLD : CAIRO_FONT_WEIGHT_NORMAL);
    cairo_set_font_size(c, size);
    cairo_text_extents_t extents;
    cairo_text_extents(c, text.c_str(), &extents);
    cairo_move_to(c, x - extents.width / 2 - extents.x_bearing, y);
    cairo_show_text(c, text.c_str());
}

void label(cairo_t* c, const std::string& text, double x, double y) {
    cairo_set_source_rgba(c, 0, 0, 0, 0.75);
    cairo_arc(c, x, y, 11, 0, 2 * CV_PI);
    cairo_fill(c);
    cairo_set_source_rgb(c, 1, 1, 1);
    centred(c, text, x, y + 5, 14, true);
}

void draw_strip(cairo_t* c, const WrapReading& reading, double top, double width) {
    cairo_set_source_rgb(c, surround, surround, surround);
    cairo_rectangle(c, 0, top, width, strip_height);
    cairo_fill(c);
    double begin = 0, end = 1;
    if (reading.bands.size() > 1 || reading.blank_diameter_mm) {
        begin = reading.bands.front().start_mm;
        end = reading.bands.back().start_mm + reading.bands.back().length_mm;
    }
    const double scale = (width - 2 * margin) / (end - begin), height = 84, y = top + 52;
    double last_text = -1e9;
    int level = 0;
    for (std::size_t i = 0; i < reading.bands.size(); ++i) {
        const BandReading& band = reading.bands[i];
        const double x = margin + (reading.bands.size() == 1 && !reading.blank_diameter_mm ? 0 : (band.start_mm - begin) * scale);
        const double w = band.length_mm > 0 ? band.length_mm * scale : width - 2 * margin;
        const EncodedSrgb rgb = to_display(band.colour.lab);
        // Bare blank is drawn thinner than thread, as it is.
        const double inset = band.role == BandRole::blank ? 6 : 0;
        cairo_set_source_rgb(c, rgb.r, rgb.g, rgb.b);
        cairo_rectangle(c, x, y + inset, w, height - 2 * inset);
        cairo_fill(c);
        const double middle = x + w / 2;
        label(c, std::to_string(i + 1), middle, y - 22);
        // Texts of narrow neighbours take turns on three levels.
        level = middle - last_text < 120 ? (level + 1) % 3 : 0;
        last_text = middle;
        char text[64];
        std::snprintf(text, sizeof text, "%s %.1f mm", std::string(name(band.role)).c_str(), band.length_mm);
        const double line = y + height + 20 + 34 * level;
        cairo_set_source_rgb(c, 1, 1, 1);
        centred(c, text, middle, line, 13);
        std::snprintf(text, sizeof text, "%.0f %.0f %.0f", band.colour.lab.L, band.colour.lab.a, band.colour.lab.b);
        centred(c, text, middle, line + 16, 13);
    }
}

cairo_status_t append(void* bytes, const unsigned char* data, unsigned int length) {
    static_cast<std::string*>(bytes)->append(reinterpret_cast<const char*>(data), length);
    return CAIRO_STATUS_SUCCESS;
}

}  // namespace

Status write_reading_picture(const WrapReading& reading, const std::filesystem::path& path) {
    const double scale = std::min(1.0, static_cast<double>(widest) / reading.picture.cols);
    cv::Mat photo;
    cv::resize(reading.picture, photo, {}, scale, scale, cv::INTER_AREA);
    cv::cvtColor(photo, photo, cv::COLOR_BGR2BGRA);

    const Surface surface(cairo_image_surface_create(CAIRO_FORMAT_RGB24, photo.cols, photo.rows + static_cast<int>(strip_height)));
    const Context context(cairo_create(surface.get()));
    cairo_t* c = context.get();
    const Surface image(cairo_image_surface_create_for_data(photo.data, CAIRO_FORMAT_RGB24, photo.cols, photo.rows, static_cast<int>(photo.step)));
    cairo_set_source_surface(c, image.get(), 0, 0);
    cairo_paint(c);

    polygon(c, reading.card.outline, scale);
    stroke_twice(c);
    for (std::size_t i = 0; i < reading.bands.size(); ++i) {
        const auto& points = reading.bands[i].outline;
        polygon(c, points, scale);
        stroke_twice(c);
        // Beside the rod, so that the number hides no thread.
        const double x = (points[0].x_px + points[1].x_px) / 2 * scale, y = (points[0].y_px + points[1].y_px) / 2 * scale;
        const double dx = (points[0].x_px - points[3].x_px) * scale, dy = (points[0].y_px - points[3].y_px) * scale, length = std::max(1.0, std::hypot(dx, dy));
        label(c, std::to_string(i + 1), x + 18 * dx / length, y + 18 * dy / length);
    }
    draw_strip(c, reading, photo.rows, photo.cols);

    std::string png;
    if (cairo_surface_write_to_png_stream(surface.get(), append, &png) != CAIRO_STATUS_SUCCESS)
        return Error{Reason::storage, "the picture could not be made", path.string(), "make room in memory and try again"};
    return save_file(path, png);
}

}  // namespace bindhue::capture

// What our plots are drawn with: filled shapes, lines and words in a picture file.
#pragma once

#include <filesystem>
#include <functional>
#include <string>

#include "colour/result.hpp"
#include "colour/spaces.hpp"
#include "sheet/number.hpp"

typedef struct _cairo cairo_t;

namespace bindhue::capture {

struct Point {
    double x = 0, y = 0;  // from the upper left corner, in pixels
};

class Drawing {
  public:
    explicit Drawing(cairo_t* cairo) : cairo_(cairo) {}

    // The ink of what follows.
    void grey(double v);               // 0 black to 1 white, sRGB
    void colour(const Lab<D50>& c);    // as a screen shows it, clipped to sRGB

    void all();
    void disc(const Point& at, double r);
    void ring(const Point& at, double r, double line);
    void rectangle(double x, double y, double w, double h);
    void line(const Point& from, const Point& to, double thickness);
    void arrow(const Point& from, const Point& to, double thickness);  // its head at `to`
    // All points p with (p - middle)^T C^-1 (p - middle) = 1, for C of rows {xx, xy}, {xy, yy} in pixels.
    void ellipse(const Point& middle, double xx, double xy, double yy, double thickness);
    void text(double x, double y, const std::string& words, double size, bool bold = false);
    // share: of the words' width that stands to the left of x.
    void beside(const Point& at, const std::string& words, double size, double share);
    void centred(const Point& at, const std::string& words, double size, bool bold = false);

  private:
    void circle(const Point& at, double r);
    void font(double size, bool bold);
    double width_of(const std::string& words);
    cairo_t* cairo_;
};

// A .png or .svg by the ending of the path. Errors: bad_value (another ending); storage.
Status write_drawing(const std::filesystem::path& path, double width, double height,
                     const std::function<void(Drawing&)>& draw);

}  // namespace bindhue::capture

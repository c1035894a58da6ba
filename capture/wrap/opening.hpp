// The card's opening as a flat picture, and the straight lines across which it changes.
#pragma once

#include <string>
#include <vector>

#include <opencv2/core.hpp>

#include "card/view.hpp"
#include "colour/camera_fit.hpp"
#include "colour/result.hpp"
#include "photo/photo.hpp"

namespace bindhue::capture {

// At each end of the opening: the card's own edge, its shadow and blur. What lies there is not looked at.
inline constexpr double opening_border_mm = 1.5;

// The opening on the card's plane, at an even scale, in steps that look even: cube roots of response over white.
struct OpeningImage {
    cv::Mat look;  // CV_32FC3
    CardRect opening;
    std::string photo;  // as errors name it
    double x0 = 0, y0 = 0, px_per_mm = 0;

    double x_mm(double column) const { return x0 + (column + 0.5) / px_per_mm; }
    double y_mm(double row) const { return y0 + (row + 0.5) / px_per_mm; }
    double column_at(double x_mm) const { return (x_mm - x0) * px_per_mm - 0.5; }
    double row_at(double y_mm) const { return (y_mm - y0) * px_per_mm - 0.5; }
};

// Error, cannot_measure: the layout has no opening.
Result<OpeningImage> flatten_opening(const Photo& photo, const CardLayout& layout, const CardPose& pose, const CameraFit& fit);

struct Line {
    double row = 0, slope = 0;  // row at the middle column; rows per column
    double strength = 0;
};

inline double row_on(const Line& line, double column, double middle) { return line.row + line.slope * (column - middle); }

// A rod's edges: with smaller y, and the other.
struct RodEdges {
    Line upper, lower;
};

// How much of what the picture changes within a millimetre to each side of a line changes within a quarter of one: a median of columns, 0..1 and more. A rod's edge is as sharp
// as the picture's blur lets it be (share_of_blurred_edge); light that fades beside the rod, or on its own side, is not.
double share_at_once(const OpeningImage& image, const Line& line);
// The same of a perfect edge, if a picture's blur has that standard deviation.
double share_of_blurred_edge(const OpeningImage& image, double blur_mm);

// How strongly the picture changes across a line, averaged over its columns. Each column's say is capped, so that one vivid band does not decide alone.
class EdgeStrength {
  public:
    // looked_at: whether each column counts; all do where none is named.
    explicit EdgeStrength(const cv::Mat& look, const std::vector<bool>& looked_at = {});

    double along(double row, double slope) const;
    Line best_near(double row, double slope, double reach_rows, double reach_slope) const;
    // The outermost of the strong lines near those two, nearly of their slopes. What a rod mirrors near its edge, and its shaded side, can be stronger than the edge
    // itself, and lie within it; the edge of the rod's shadow lies outside. Both edges tell the slopes together: they turn as one and taper alike, where one line alone may run from a wrap's edge to a shadow's.
    // reach_turn: of both slopes, alike; reach_taper: of each, against the other; rows per column.
    RodEdges rod_edges_near(const Line& upper, const Line& lower, double reach_rows, double reach_turn, double reach_taper) const;
    // The strongest line of the slope that has the most of them: a rod's edges and what its coat mirrors are parallel, and one line alone may run from one of them
    // to another.
    Line strongest() const;

  private:
    Line best_of_slope(double row, double slope, double reach_rows) const;
    Line outermost_near(double row, double slope, double reach_rows, int step) const;

    cv::Mat strength_;          // CV_32F
    std::vector<int> columns_;  // every third of those that count
};

}  // namespace bindhue::capture

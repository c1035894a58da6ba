// Waves over the part of a run that faces the camera: what stripes show as.
#pragma once

#include <cmath>
#include <complex>
#include <numbers>
#include <optional>
#include <span>
#include <vector>

#include "wrap/segments.hpp"

namespace bindhue::capture {

// Part of a run that faces the camera, as shares of white, less the smooth surface that light and shading make of one colour.
struct Face {
    std::size_t first_row = 0, rows = 0, first_column = 0, columns = 0;
    double row_mm = 0, column_mm = 0;
    std::vector<Vector3> left;  // row by row
    std::vector<double> turned;  // of each row, from facing the camera
    Vector3 mean{};
};

// None where too little of it is seen. white: response to white; radius_mm: of the rod.
std::optional<Face> face_of(const Skin& skin, double begin_mm, double end_mm, const Vector3& white, double facing_theta, double radius_mm);

// The same in cells, so that a large picture costs no more than a small one.
struct Cells {
    std::size_t rows = 0, columns = 0;
    double row_mm = 0, column_mm = 0;
    std::vector<Vector3> left;
    std::vector<double> turned;  // of each row
    Vector3 mean{};              // of the whole face
};

Cells cells_of(const Face& face);
inline constexpr std::size_t fewest_cells = 8;  // rows and columns: less shows no wave

// Gaussian blur, by a standard deviation in millimetres.
void soften(Cells& cells, double sigma_mm);

// What stripes are sought in: of each value, its part along one direction of colour.
struct Signal {
    Vector3 axis{};
    bool chroma = true;
    double operator()(const Vector3& v) const { return axis[0] * v[0] + axis[1] * v[1] + axis[2] * v[2]; }
};

// The direction of the largest spread of the differences of channels, which hardly see what a coat mirrors.
Signal chroma_of(const Cells& cells);
inline constexpr Signal lightness{{1.0 / 3, 1.0 / 3, 1.0 / 3}, false};

// The wave that explains most of a window.
struct Wave {
    std::size_t row = 0, column = 0;  // of the window's first cell
    double round = 0, along = 0;      // cycles per millimetre
    double height = 0;                // a share of white
    double explained = 0;             // of the variance, 0 to 1
    double variance = 0, third = 0;   // central moments of the window's values
    double cosine = 1;                // of how far its middle is turned from the camera

    double frequency() const { return std::hypot(round, along); }
};

// What a blur leaves of a wave's height; not less than what is sought: what is all but gone can't be told from its remains.
double left_by_blur(double frequency, double blur_mm);

// Unit waves of evenly spaced frequencies at evenly spaced places.
class Waves {
  public:
    Waves(double least, double most, double step, std::size_t places, double place_mm) : places_(places) {
        for (double f = least; f <= most; f += step) {
            frequencies.push_back(f);
            for (std::size_t i = 0; i < places; ++i) values_.push_back(std::polar(1.0, -2 * std::numbers::pi * f * place_mm * static_cast<double>(i)));
        }
    }
    std::span<const std::complex<double>> operator[](std::size_t frequency) const { return std::span(values_).subspan(frequency * places_, places_); }

    std::vector<double> frequencies;  // per millimetre

  private:
    std::size_t places_;
    std::vector<std::complex<double>> values_;
};

// The strongest wave of each window of the cells, which must outlive it.
class WaveSearch {
  public:
    // least_along: slower waves along the rod are not sought.
    WaveSearch(const Cells& cells, double blur_mm, double least_along);

    std::vector<Wave> all(const Signal& signal) const;  // windows half their size apart

    // Adds how far each channel goes along with the signal in a wave, and the signal's power.
    void add_direction(const Signal& signal, const Wave& wave, Vector3& with, double& power) const;

  private:
    Wave strongest(const Signal& signal, std::size_t row, std::size_t column) const;

    const Cells& cells_;
    double least_along_, most_;
    std::size_t window_rows_, window_columns_;
    std::vector<double> row_weight_, column_weight_;
    Waves round_, along_;
};

}  // namespace bindhue::capture

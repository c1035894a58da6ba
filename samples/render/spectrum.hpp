// Spectra from 380 to 780 nm by 5 nm, and their colour. Written apart from the library on purpose: what the
// renderer calls true must not come from the code that it tests. Only the published tables are shared.
#pragma once

#include <array>
#include <cstddef>
#include <string>
#include <vector>

namespace bindhue::render {

inline constexpr std::size_t band_count = 81;
constexpr double wavelength_nm(std::size_t i) { return 380.0 + 5.0 * static_cast<double>(i); }

struct Spectrum {
    std::array<double, band_count> at{};

    double& operator[](std::size_t i) { return at[i]; }
    double operator[](std::size_t i) const { return at[i]; }
};

Spectrum constant(double value);
Spectrum operator*(const Spectrum& a, const Spectrum& b);
Spectrum operator*(double k, const Spectrum& a);
Spectrum operator+(const Spectrum& a, const Spectrum& b);
// exp(-((l - centre) / width)^2), times height.
Spectrum bump(double centre_nm, double width_nm, double height);
// A smooth step from `low` to `high`, half way at centre_nm.
Spectrum step(double centre_nm, double width_nm, double low, double high);

using Lab = std::array<double, 3>;

// CIELAB of a reflectance factor, D50 and the 2-degree observer, summed at 5 nm.
Lab lab_d50(const Spectrum& reflectance);
std::array<double, 3> xyz_d50(const Spectrum& reflectance);  // Y of the perfect diffuser = 1

Lab lab_of_xyz(const std::array<double, 3>& xyz);  // the same white
std::array<Spectrum, 3> standard_observer();       // x, y, z

// Relative power of "D50", "D65", "A", "F2", "F11" or "LED-B3", scaled to Y = 1. Throws std::runtime_error
// for any other name.
Spectrum light_named(const std::string& name);
const std::vector<std::string>& light_names();

// Reflectances of a text file: a line each, 81 values of 0 to 1 from 380 to 780 nm, between blanks; lines that begin with # are skipped.
// Throws std::runtime_error with the line that is not such.
std::vector<Spectrum> reflectances_from(const std::string& path);

}  // namespace bindhue::render

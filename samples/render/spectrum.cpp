#include "spectrum.hpp"

#include <cmath>
#include <colour/cie_tables.hpp>
#include <fstream>
#include <sstream>
#include <stdexcept>

namespace bindhue::render {
namespace {

double f(double t) { return t > 216.0 / 24389.0 ? std::cbrt(t) : (24389.0 / 27.0 * t + 16.0) / 116.0; }

Spectrum from_table(const cie::Table& table) {
    static_assert(cie::table_size == band_count);
    return {table};
}

}  // namespace

Spectrum constant(double value) {
    Spectrum s;
    s.at.fill(value);
    return s;
}

Spectrum operator*(const Spectrum& a, const Spectrum& b) {
    Spectrum s;
    for (std::size_t i = 0; i < band_count; ++i) s[i] = a[i] * b[i];
    return s;
}

Spectrum operator*(double k, const Spectrum& a) {
    Spectrum s;
    for (std::size_t i = 0; i < band_count; ++i) s[i] = k * a[i];
    return s;
}

Spectrum operator+(const Spectrum& a, const Spectrum& b) {
    Spectrum s;
    for (std::size_t i = 0; i < band_count; ++i) s[i] = a[i] + b[i];
    return s;
}

Spectrum bump(double centre_nm, double width_nm, double height) {
    Spectrum s;
    for (std::size_t i = 0; i < band_count; ++i) {
        const double z = (wavelength_nm(i) - centre_nm) / width_nm;
        s[i] = height * std::exp(-z * z);
    }
    return s;
}

Spectrum step(double centre_nm, double width_nm, double low, double high) {
    Spectrum s;
    for (std::size_t i = 0; i < band_count; ++i)
        s[i] = low + (high - low) / (1.0 + std::exp(-(wavelength_nm(i) - centre_nm) / (0.5 * width_nm)));
    return s;
}

std::array<double, 3> xyz_d50(const Spectrum& reflectance) {
    double x = 0, y = 0, z = 0, white = 0;
    for (std::size_t i = 0; i < band_count; ++i) {
        const double s = cie::illuminant_d50[i];
        x += s * reflectance[i] * cie::xbar[i];
        y += s * reflectance[i] * cie::ybar[i];
        z += s * reflectance[i] * cie::zbar[i];
        white += s * cie::ybar[i];
    }
    return {x / white, y / white, z / white};
}

Lab lab_d50(const Spectrum& reflectance) { return lab_of_xyz(xyz_d50(reflectance)); }

std::array<Spectrum, 3> standard_observer() {
    return {from_table(cie::xbar), from_table(cie::ybar), from_table(cie::zbar)};
}

Lab lab_of_xyz(const std::array<double, 3>& xyz) {
    static const std::array<double, 3> white = xyz_d50(constant(1.0));
    const double x = f(xyz[0] / white[0]), y = f(xyz[1] / white[1]), z = f(xyz[2] / white[2]);
    return {116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)};
}

const std::vector<std::string>& light_names() {
    static const std::vector<std::string> names{"D50", "D65", "A", "F2", "F11", "LED-B3"};
    return names;
}

Spectrum light_named(const std::string& name) {
    const cie::Table* table = name == "D50"      ? &cie::illuminant_d50
                              : name == "D65"    ? &cie::illuminant_d65
                              : name == "A"      ? &cie::illuminant_a
                              : name == "F2"     ? &cie::illuminant_f2
                              : name == "F11"    ? &cie::illuminant_f11
                              : name == "LED-B3" ? &cie::illuminant_led_b3
                                                 : nullptr;
    if (!table)
        throw std::runtime_error("no light called \"" + name + "\": use D50, D65, A, F2, F11 or LED-B3");
    Spectrum s = from_table(*table);
    double luminous = 0;
    for (std::size_t i = 0; i < band_count; ++i) luminous += s[i] * cie::ybar[i];
    return 1.0 / luminous * s;
}

std::vector<Spectrum> reflectances_from(const std::string& path) {
    std::ifstream in(path);
    if (!in) throw std::runtime_error(path + ": can't be read");
    std::vector<Spectrum> out;
    std::string line;
    for (int number = 1; std::getline(in, line); ++number) {
        if (line.empty() || line[0] == '#') continue;
        std::istringstream values(line);
        Spectrum s;
        std::size_t read = 0;
        for (double v = 0; values >> v; ++read) {
            if (read < band_count && v >= 0 && v <= 1) {
                s[read] = v;
                continue;
            }
            read = band_count + 1;
            break;
        }
        if (read != band_count || !values.eof())
            throw std::runtime_error(path + ", line " + std::to_string(number) + ": must be 81 values of 0 to 1, from 380 to 780 nm by 5 nm");
        out.push_back(s);
    }
    if (out.empty()) throw std::runtime_error(path + ": holds no reflectance");
    return out;
}

}  // namespace bindhue::render

// Spectra from 380 to 780 nm by 5 nm, and their colours under the CIE illuminants.
//
// Sources: CIE 1931 2-degree observer and the illuminants of colour/cie_tables.hpp; summation at 5 nm as ASTM
// E308 does it (k = 1 / sum of S*ybar; a reflectance of 1 everywhere has Y = 1 exactly).
#pragma once

#include <array>
#include <cstddef>
#include <string_view>

#include "colour/spaces.hpp"

namespace bindhue {

inline constexpr std::size_t spectrum_size = 81;
inline constexpr double spectrum_first_nm = 380.0, spectrum_step_nm = 5.0;

// A function of wavelength: what it means (reflectance factor 0..1, K, S, relative power) is for the place
// that holds it to say.
struct Spectrum {
    std::array<double, spectrum_size> values{};

    constexpr double& operator[](std::size_t i) { return values[i]; }
    constexpr double operator[](std::size_t i) const { return values[i]; }
    static constexpr double wavelength_nm(std::size_t i) {
        return spectrum_first_nm + spectrum_step_nm * static_cast<double>(i);
    }
    static constexpr Spectrum constant(double v) {
        Spectrum s;
        s.values.fill(v);
        return s;
    }
};

enum class Illuminant { D50, D65, A, F2, F11, LED_B3 };

const Spectrum& illuminant(Illuminant which);  // relative power, 100 at 560 nm (A, D) or as tabulated
std::string_view name(Illuminant which);       // "D50", "F11", "LED-B3"
// Case-insensitive, "FL2" and "FL11" too; false and nothing written if unknown.
bool parse_illuminant(std::string_view text, Illuminant& which);

// Tristimulus values of the illuminant itself, Y = 1.
Vector3 white_of(Illuminant which);

// Colour of a reflectance under the illuminant that the type names. The table's white differs from the type's
// in the fifth decimal, so that a flat reflectance has a chroma of up to 0.002.
XYZ<D50> reflectance_to_xyz_d50(const Spectrum& reflectance);

// CIELAB (L, a, b) relative to the illuminant's own white, white_of(which): for comparing two surfaces in
// that light, never with a Lab<D50>.
Vector3 reflectance_to_lab_under(const Spectrum& reflectance, Illuminant which);
double ciede2000_under(Illuminant which, const Spectrum& reference, const Spectrum& sample);

}  // namespace bindhue

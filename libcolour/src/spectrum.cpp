#include "colour/spectrum.hpp"

#include <algorithm>
#include <cctype>

#include "colour/cie_tables.hpp"
#include "colour/difference.hpp"

namespace bindhue {
namespace {

static_assert(spectrum_size == cie::table_size && spectrum_first_nm == cie::table_first_nm &&
              spectrum_step_nm == cie::table_step_nm);

constexpr std::size_t illuminant_count = 6;

constexpr std::array<Spectrum, illuminant_count> illuminants{
    Spectrum{cie::illuminant_d50}, Spectrum{cie::illuminant_d65}, Spectrum{cie::illuminant_a},
    Spectrum{cie::illuminant_f2},  Spectrum{cie::illuminant_f11}, Spectrum{cie::illuminant_led_b3}};

// Illuminant times observer, scaled so that a reflectance of 1 everywhere has Y = 1.
struct Weights {
    Spectrum x, y, z;
    Vector3 white{};
};

constexpr Weights weights_of(const Spectrum& light) {
    double sum = 0;
    for (std::size_t i = 0; i < spectrum_size; ++i) sum += light[i] * cie::ybar[i];
    Weights w;
    for (std::size_t i = 0; i < spectrum_size; ++i) {
        const double k = light[i] / sum;
        w.x[i] = k * cie::xbar[i];
        w.y[i] = k * cie::ybar[i];
        w.z[i] = k * cie::zbar[i];
        w.white[0] += w.x[i];
        w.white[2] += w.z[i];
    }
    w.white[1] = 1.0;
    return w;
}

constexpr std::array<Weights, illuminant_count> weights{
    weights_of(illuminants[0]), weights_of(illuminants[1]), weights_of(illuminants[2]),
    weights_of(illuminants[3]), weights_of(illuminants[4]), weights_of(illuminants[5])};

constexpr std::size_t index(Illuminant which) { return static_cast<std::size_t>(which); }

Vector3 tristimulus(const Spectrum& reflectance, const Weights& w) {
    Vector3 sum{};
    for (std::size_t i = 0; i < spectrum_size; ++i) {
        sum[0] += w.x[i] * reflectance[i];
        sum[1] += w.y[i] * reflectance[i];
        sum[2] += w.z[i] * reflectance[i];
    }
    return sum;
}

struct Named {
    std::string_view text;
    Illuminant which;
};
// The first name of each illuminant is the one that is written.
constexpr std::array<Named, 8> names{{{"D50", Illuminant::D50},
                                      {"D65", Illuminant::D65},
                                      {"A", Illuminant::A},
                                      {"F2", Illuminant::F2},
                                      {"F11", Illuminant::F11},
                                      {"LED-B3", Illuminant::LED_B3},
                                      {"FL2", Illuminant::F2},
                                      {"FL11", Illuminant::F11}}};

}  // namespace

const Spectrum& illuminant(Illuminant which) { return illuminants[index(which)]; }

std::string_view name(Illuminant which) { return names[index(which)].text; }

bool parse_illuminant(std::string_view text, Illuminant& which) {
    const auto same = [](char a, char b) {
        return std::toupper(static_cast<unsigned char>(a)) == static_cast<unsigned char>(b);
    };
    for (const Named& n : names) {
        if (std::equal(text.begin(), text.end(), n.text.begin(), n.text.end(), same)) {
            which = n.which;
            return true;
        }
    }
    return false;
}

Vector3 white_of(Illuminant which) { return weights[index(which)].white; }

XYZ<D50> reflectance_to_xyz_d50(const Spectrum& reflectance) {
    return XYZ<D50>::from(tristimulus(reflectance, weights[index(Illuminant::D50)]));
}

Vector3 reflectance_to_lab_under(const Spectrum& reflectance, Illuminant which) {
    const Weights& w = weights[index(which)];
    const Vector3 t = tristimulus(reflectance, w);
    const double fx = detail::lab_f(t[0] / w.white[0]), fy = detail::lab_f(t[1] / w.white[1]),
                 fz = detail::lab_f(t[2] / w.white[2]);
    return {116.0 * fy - 16.0, 500.0 * (fx - fy), 200.0 * (fy - fz)};
}

double ciede2000_under(Illuminant which, const Spectrum& reference, const Spectrum& sample) {
    return detail::ciede2000(reflectance_to_lab_under(reference, which),
                             reflectance_to_lab_under(sample, which), {});
}

}  // namespace bindhue

// The prior of cameras and lights (colour/camera_light.hpp), learnt from a table of measured sensitivities.
//
// Each channel is divided by its sum; mean and principal components over the cameras; what the components leave is measured by
// leaving each camera out in turn. Lights: the CIE's tables, daylights by the CIE's components (CIE 15), black bodies (Planck),
// white LEDs by a model of our own, mixtures of two.
#pragma once

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <fstream>
#include <sstream>
#include <string>
#include <vector>

#include "colour/camera_light.hpp"

namespace learn {

using namespace bindhue;

struct DaylightComponents {
    Spectrum s0, s1, s2;
};

// The file of tests/published/data; none where it cannot be read.
inline DaylightComponents daylight_components() {
    DaylightComponents out;
    std::ifstream file(BINDHUE_SOURCE_DIR "/tests/published/data/daylight_components.txt");
    std::size_t i = 0;
    for (std::string line; i < spectrum_size && std::getline(file, line);) {
        if (line.empty() || line[0] == '#') continue;
        std::istringstream row(line);
        double nm = 0;
        if (row >> nm >> out.s0[i] >> out.s1[i] >> out.s2[i]) ++i;
    }
    return out;
}

// CIE 15: chromaticity of daylight by temperature, then the components' weights.
inline Spectrum daylight(const DaylightComponents& d, double kelvin) {
    const double t = 1e3 / kelvin;
    const double x = kelvin <= 7000 ? -4.6070 * t * t * t + 2.9678 * t * t + 0.09911 * t + 0.244063
                                    : -2.0064 * t * t * t + 1.9018 * t * t + 0.24748 * t + 0.237040;
    const double y = -3.000 * x * x + 2.870 * x - 0.275;
    const double m = 0.0241 + 0.2562 * x - 0.7341 * y;
    const double m1 = (-1.3515 - 1.7703 * x + 5.9114 * y) / m, m2 = (0.0300 - 31.4424 * x + 30.0717 * y) / m;
    Spectrum out;
    for (std::size_t i = 0; i < spectrum_size; ++i) out[i] = d.s0[i] + m1 * d.s1[i] + m2 * d.s2[i];
    return out;
}

inline Spectrum black_body(double kelvin) {
    Spectrum out;
    for (std::size_t i = 0; i < spectrum_size; ++i) {
        const double nm = Spectrum::wavelength_nm(i);
        out[i] = std::pow(560 / nm, 5) * (std::exp(1.4388e7 / (560 * kelvin)) - 1) / (std::exp(1.4388e7 / (nm * kelvin)) - 1);
    }
    return out;
}

// A guess at white LEDs: a blue peak, a broad phosphor, and for better ones a second, red phosphor.
inline Spectrum phosphor_led(double peak_nm, double blue, double hump_nm, double red) {
    Spectrum out;
    const auto bell = [](double nm, double centre, double low, double high) {
        const double x = (nm - centre) / (nm < centre ? low : high);
        return std::exp(-0.5 * x * x);
    };
    for (std::size_t i = 0; i < spectrum_size; ++i) {
        const double nm = Spectrum::wavelength_nm(i);
        out[i] = blue * bell(nm, peak_nm, 9, 13) + bell(nm, hump_nm, 38, 62) + red * bell(nm, 630, 35, 42);
    }
    return out;
}

inline Spectrum unit(Spectrum s) {
    const double y = reflectance_to_xyz_d50(Spectrum::constant(1)).Y;  // keeps the scale near 1
    double sum = 0;
    for (const double v : s.values) sum += v;
    for (double& v : s.values) v *= y * 81 / sum;
    return s;
}

inline Spectrum mixture(const Spectrum& a, const Spectrum& b, double share) {
    Spectrum out;
    for (std::size_t i = 0; i < spectrum_size; ++i) out[i] = share * unit(a)[i] + (1 - share) * unit(b)[i];
    return out;
}

inline std::vector<LibraryLight> library(const DaylightComponents& d) {
    std::vector<LibraryLight> out;
    const auto add = [&](const char* kind, const std::string& name, const Spectrum& s) { out.push_back({kind, name, unit(s)}); };
    for (const int kelvin : {4000, 4500, 5000, 5750, 6500, 7500, 9500})
        add("daylight", "daylight, " + std::to_string(kelvin) + " K", daylight(d, kelvin));
    for (const int kelvin : {2400, 2856, 3300})
        add("filament lamp", "filament, " + std::to_string(kelvin) + " K", black_body(kelvin));
    add("tube", "broad-band tube (F2)", illuminant(Illuminant::F2));
    add("three-band tube", "three-band tube (F11)", illuminant(Illuminant::F11));
    add("white LED", "white LED (LED-B3)", illuminant(Illuminant::LED_B3));
    struct Led {
        const char* name;
        double peak, blue, hump, red;
    };
    for (const Led& led : std::initializer_list<Led>{{"warm, plain", 452, 0.35, 585, 0.0},
                                                     {"warm, with red", 452, 0.35, 565, 0.9},
                                                     {"neutral, plain", 450, 0.8, 570, 0.0},
                                                     {"neutral, with red", 450, 0.75, 550, 0.6},
                                                     {"cool, plain", 447, 1.5, 560, 0.0},
                                                     {"cool, with red", 447, 1.3, 540, 0.45}})
        add("white LED", std::string("white LED, ") + led.name, phosphor_led(led.peak, led.blue, led.hump, led.red));
    add("mixed light", "daylight and filament", mixture(daylight(d, 6500), black_body(2856), 0.6));
    add("mixed light", "daylight and warm LED", mixture(daylight(d, 6500), phosphor_led(452, 0.35, 575, 0.4), 0.5));
    add("mixed light", "daylight and three-band tube", mixture(daylight(d, 6500), illuminant(Illuminant::F11), 0.5));
    return out;
}

inline CameraLightPrior prior(const std::vector<ChannelCurves>& cameras, std::vector<LibraryLight> lights, int components) {
    constexpr int size = 3 * static_cast<int>(spectrum_size);
    const auto count = static_cast<int>(cameras.size());
    Eigen::MatrixXd table(size, count);
    for (int k = 0; k < count; ++k)
        for (int c = 0; c < 3; ++c) {
            const Spectrum& s = cameras[static_cast<std::size_t>(k)][static_cast<std::size_t>(c)];
            double sum = 0;
            for (const double v : s.values) sum += v;
            for (int i = 0; i < 81; ++i) table(81 * c + i, k) = s[static_cast<std::size_t>(i)] / sum;
        }
    const auto main_directions = [&](const Eigen::MatrixXd& of, Eigen::VectorXd& mean) {
        mean = of.rowwise().mean();
        const Eigen::MatrixXd centred = of.colwise() - mean;
        const Eigen::JacobiSVD<Eigen::MatrixXd> svd(centred, Eigen::ComputeThinU);
        const int kept = std::min<int>(components, static_cast<int>(of.cols()) - 1);
        return Eigen::MatrixXd(svd.matrixU().leftCols(kept) * svd.singularValues().head(kept).asDiagonal() /
                               std::sqrt(static_cast<double>(of.cols() - 1)));
    };
    Eigen::VectorXd mean;
    const Eigen::MatrixXd loading = main_directions(table, mean);
    Eigen::VectorXd left = Eigen::VectorXd::Zero(size);
    for (int out = 0; out < count; ++out) {
        Eigen::MatrixXd others(size, count - 1);
        for (int k = 0; k < count - 1; ++k) others.col(k) = table.col(k < out ? k : k + 1);
        Eigen::VectorXd m;
        const Eigen::MatrixXd f = main_directions(others, m);
        const Eigen::VectorXd d = table.col(out) - m;
        const Eigen::VectorXd rest = d - f * (f.transpose() * f).ldlt().solve(f.transpose() * d);
        left += rest.cwiseAbs2() / count;
    }
    CameraLightPrior prior;
    prior.reach_nm = 20;
    prior.lights = std::move(lights);
    prior.components.resize(static_cast<std::size_t>(loading.cols()));
    for (int c = 0; c < 3; ++c)
        for (int i = 0; i < 81; ++i) {
            const auto channel = static_cast<std::size_t>(c), at = static_cast<std::size_t>(i);
            prior.mean[channel][at] = mean(81 * c + i);
            for (int k = 0; k < loading.cols(); ++k)
                prior.components[static_cast<std::size_t>(k)][channel][at] = loading(81 * c + i, k);
            // Ten cameras say little about one wavelength: averaged over 35 nm.
            double sum = 0, weight = 0;
            for (int j = std::max(0, i - 3); j <= std::min(80, i + 3); ++j) {
                sum += left(81 * c + j);
                weight += 1;
            }
            prior.spread[channel][at] = std::sqrt(sum / weight);
        }
    return prior;
}

}  // namespace learn

// A card, threads, cameras and lights made of invented spectra, to test the camera fit against a known truth.
//
// Inks: Yule-Nielsen-modified spectral Neugebauer, n = 2 (Yule, Nielsen, TAGA Proc. 3 (1951) 65-76; Viggiano,
// TAGA Proc. (1985) 647-661). Threads: Kubelka-Munk infinite layers of dyes over a bright fibre (Kubelka, J.
// Opt. Soc. Am. 38 (1948) 448-457). Cameras: sums of Gaussians. Lights: the CIE's. Nothing here was measured.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <optional>
#include <random>
#include <string>
#include <vector>

#include "colour/camera_fit.hpp"
#include "colour/spectrum.hpp"

namespace simulated {

using namespace bindhue;

class Random {
  public:
    explicit Random(std::uint64_t seed) : engine_(seed) {}
    double uniform(double low, double high) {
        return low + (high - low) * static_cast<double>(engine_() >> 11) * 0x1.0p-53;
    }
    double normal() {
        return std::sqrt(-2 * std::log(uniform(1e-12, 1))) * std::cos(uniform(0, 6.283185307179586));
    }
    std::size_t index(std::size_t size) {
        return static_cast<std::size_t>(uniform(0, static_cast<double>(size)));
    }

  private:
    std::mt19937_64 engine_;
};

inline double bell(double nm, double centre, double width_low, double width_high) {
    const double x = (nm - centre) / (nm < centre ? width_low : width_high);
    return std::exp(-0.5 * x * x);
}

// Cyan, magenta, yellow, black in percent of area.
using Inks = std::array<double, 4>;

inline Spectrum printed(const Inks& percent) {
    Spectrum out;
    for (std::size_t i = 0; i < spectrum_size; ++i) {
        const double nm = Spectrum::wavelength_nm(i);
        const double paper = 0.88 * (1 - 0.35 * bell(nm, 380, 20, 18));
        const std::array<double, 4> density{1.75 * bell(nm, 650, 62, 120) + 0.10 * bell(nm, 400, 60, 60),
                                            1.55 * bell(nm, 545, 48, 32) + 0.35 * bell(nm, 400, 60, 40),
                                            1.50 / (1 + std::exp((nm - 492) / 11)),
                                            1.55 + 0.05 * (nm - 580) / 200};
        double root = 0;
        for (unsigned primary = 0; primary < 16; ++primary) {
            double share = 1, absorbed = 0;
            for (unsigned k = 0; k < 4; ++k) {
                const double area = percent[k] / 100;
                const bool inked = (primary >> k & 1U) != 0;
                share *= inked ? area : 1 - area;
                if (inked) absorbed += density[k];
            }
            root += share * std::sqrt(paper * std::pow(10.0, -absorbed));
        }
        out[i] = 0.006 + (1 - 0.006) * root * root;
    }
    return out;
}

struct Printed {
    PatchRole role;
    Inks inks;
};

inline std::vector<Printed> card_patches() {
    constexpr auto colour = PatchRole::colour, grey = PatchRole::grey, test = PatchRole::check,
                   trap = PatchRole::trap;
    return {
        {colour, {0, 0, 100, 0}},
        {colour, {100, 75, 0, 0}},
        {colour, {0, 100, 100, 0}},
        {colour, {100, 0, 0, 0}},
        {test, {10, 20, 45, 5}},
        {colour, {15, 100, 0, 0}},
        {colour, {100, 0, 100, 0}},
        {test, {20, 60, 60, 20}},
        {colour, {100, 100, 50, 0}},
        {colour, {0, 30, 100, 0}},
        {colour, {0, 100, 0, 60}},
        {test, {60, 30, 30, 20}},
        {colour, {0, 0, 50, 0}},
        {test, {45, 20, 70, 15}},
        {colour, {15, 75, 50, 0}},
        {colour, {100, 35, 100, 30}},
        {colour, {100, 15, 50, 0}},
        {test, {50, 15, 0, 0}},
        {colour, {0, 35, 100, 30}},
        {colour, {0, 30, 0, 0}},
        {test, {30, 30, 30, 0}},
        {colour, {100, 50, 30, 0}},
        {colour, {50, 100, 0, 0}},
        {colour, {50, 0, 50, 0}},
        {grey, {0, 0, 0, 0}},
        {grey, {0, 0, 0, 14}},
        {grey, {0, 0, 0, 57}},
        {grey, {0, 0, 0, 100}},
        {grey, {0, 0, 0, 42}},
        {grey, {0, 0, 0, 0}},
        {trap, {}},
        {grey, {0, 0, 0, 86}},
        {grey, {0, 0, 0, 28}},
        {grey, {0, 0, 0, 71}},
        {grey, {0, 0, 0, 100}},
        {grey, {0, 0, 0, 0}},
        {grey, {0, 0, 0, 0}},
        {grey, {0, 0, 0, 71}},
        {grey, {0, 0, 0, 28}},
        {grey, {0, 0, 0, 86}},
        {trap, {}},
        {grey, {0, 0, 0, 0}},
        {grey, {0, 0, 0, 42}},
        {grey, {0, 0, 0, 100}},
        {grey, {0, 0, 0, 57}},
        {grey, {0, 0, 0, 14}},
        {grey, {0, 0, 0, 100}},
        {grey, {0, 0, 0, 0}},
        {colour, {35, 0, 100, 60}},
        {test, {30, 50, 0, 0}},
        {colour, {35, 70, 100, 30}},
        {colour, {100, 100, 50, 0}},
        {test, {60, 60, 20, 10}},
        {colour, {0, 0, 100, 0}},
        {colour, {100, 75, 0, 0}},
        {test, {0, 30, 30, 0}},
        {colour, {100, 0, 100, 0}},
        {colour, {0, 100, 100, 0}},
        {test, {10, 60, 90, 10}},
        {colour, {100, 0, 0, 0}},
        {colour, {15, 100, 0, 0}},
        {colour, {0, 100, 0, 60}},
        {test, {70, 40, 70, 40}},
        {colour, {0, 30, 100, 0}},
        {colour, {15, 75, 50, 0}},
        {colour, {50, 100, 0, 0}},
        {test, {50, 15, 100, 0}},
        {colour, {100, 15, 50, 0}},
        {colour, {100, 35, 100, 30}},
        {colour, {0, 35, 100, 30}},
        {colour, {100, 50, 30, 0}},
        {colour, {35, 70, 100, 30}},
    };
}

// Twelve to a row, three rows on each side of the opening.
inline CardPoint place_of(std::size_t index) {
    const auto row = index / 12, column = index % 12;
    return {25.0 + 10.0 * static_cast<double>(column),
            row < 3 ? 11.0 + 10.0 * static_cast<double>(row) : 79.0 + 10.0 * static_cast<double>(row - 3)};
}

inline constexpr CardPoint opening{80, 55};

struct Camera {
    std::array<Spectrum, 3> sensitivity;
};

inline Camera invented_camera(Random& random) {
    Camera camera;
    const double red = random.uniform(590, 612), green = random.uniform(526, 544),
                 blue = random.uniform(450, 468);
    const double red_low = random.uniform(22, 36), red_high = random.uniform(32, 48);
    const double green_low = random.uniform(32, 44), green_high = random.uniform(34, 48);
    const double blue_low = random.uniform(20, 30), blue_high = random.uniform(24, 36);
    const double leak_red = random.uniform(0.01, 0.08), leak_green = random.uniform(0.02, 0.12),
                 leak_blue = random.uniform(0.01, 0.06), red_foot = random.uniform(0.03, 0.12);
    for (std::size_t i = 0; i < spectrum_size; ++i) {
        const double nm = Spectrum::wavelength_nm(i);
        const double infrared_cut = 1 / (1 + std::exp((nm - 665) / 9)),
                     ultraviolet_cut = 1 / (1 + std::exp((412 - nm) / 5));
        const double pass = infrared_cut * ultraviolet_cut;
        camera.sensitivity[0][i] =
            pass * (0.8 * bell(nm, red, red_low, red_high) + red_foot * bell(nm, 545, 25, 30) +
                    leak_red * bell(nm, 440, 30, 40));
        camera.sensitivity[1][i] = pass * (bell(nm, green, green_low, green_high) +
                                           leak_green * bell(nm, 455, 30, 40) + 0.04 * bell(nm, 620, 40, 40));
        camera.sensitivity[2][i] =
            pass * (0.9 * bell(nm, blue, blue_low, blue_high) + leak_blue * bell(nm, 550, 50, 50));
    }
    return camera;
}

inline Spectrum thread(const std::vector<std::pair<std::size_t, double>>& recipe,
                       const std::vector<Spectrum>& dyes, double surface) {
    Spectrum out;
    for (std::size_t i = 0; i < spectrum_size; ++i) {
        const double nm = Spectrum::wavelength_nm(i);
        double absorption = 0.012 + 0.05 * bell(nm, 380, 30, 40);
        for (const auto& [dye, amount] : recipe) absorption += amount * dyes[dye][i];
        const double body = 1 + absorption - std::sqrt(absorption * absorption + 2 * absorption);
        out[i] = surface + (1 - surface) * body;
    }
    return out;
}

inline std::vector<Spectrum> invented_dyes(Random& random, std::size_t count) {
    std::vector<Spectrum> dyes(count);
    for (std::size_t d = 0; d < count; ++d) {
        const double peak =
            410 + 240 * (static_cast<double>(d) + random.uniform(0, 1)) / static_cast<double>(count);
        const double low = random.uniform(28, 60), high = random.uniform(20, 42);
        const double second = random.uniform(0, 0.35), second_peak = peak - random.uniform(70, 200);
        for (std::size_t i = 0; i < spectrum_size; ++i) {
            const double nm = Spectrum::wavelength_nm(i);
            dyes[d][i] = bell(nm, peak, low, high) + second * bell(nm, second_peak, 40, 40);
        }
    }
    return dyes;
}

// `count` threads, one in eight a grey of three or four dyes.
inline std::vector<Spectrum> threads(std::uint64_t seed, std::size_t count) {
    Random random(seed);
    const std::vector<Spectrum> dyes = invented_dyes(random, 24);
    std::vector<Spectrum> out;
    while (out.size() < count) {
        const bool neutral = out.size() % 8 == 0;
        Spectrum spectrum;
        for (int attempt = 0; attempt < 5000; ++attempt) {
            const std::size_t parts = neutral ? 3 + random.index(2) : 1 + random.index(4);
            const double depth = std::exp(random.uniform(std::log(0.05), std::log(12.0)));
            std::vector<std::pair<std::size_t, double>> recipe;
            for (std::size_t k = 0; k < parts; ++k)
                recipe.emplace_back(random.index(dyes.size()), depth * std::exp(random.uniform(-1.5, 0)));
            spectrum = thread(recipe, dyes, random.uniform(0.004, 0.015));
            const Lab<D50> lab = to_lab(reflectance_to_xyz_d50(spectrum));
            if (!neutral || std::hypot(lab.a, lab.b) < 7) break;
        }
        out.push_back(spectrum);
    }
    return out;
}

struct Photo {
    Camera camera;
    Spectrum light = illuminant(Illuminant::D50);
    double exposure = 0.85;                       // response of a perfect white in the strongest channel
    Vector3 veil{};                               // linear light added everywhere, in response units
    std::array<LightField::Terms, 3> gradient{};  // as LightField has it, over the patches
    double noise = 0.003, noise_floor = 0.0004;
    double reference_noise = 0.2;  // Lab, per axis
    bool encoded = false;          // white balance, matrix, saturation, tone curve, clipping
    double contrast = 0.35;        // how far the encoded scale is bent into an S
    double gamma = 0;              // if set, this power instead of the sRGB curve
    double saturation = 1.1;
    std::uint64_t seed = 1;
};

inline Vector3 response(const Camera& camera, const Spectrum& light, const Spectrum& reflectance) {
    Vector3 sum{};
    for (std::size_t c = 0; c < 3; ++c)
        for (std::size_t i = 0; i < spectrum_size; ++i)
            sum[c] += camera.sensitivity[c][i] * light[i] * reflectance[i];
    return sum;
}

// Encoded value of linear light by the photo's tone curve.
inline double encode(const Photo& photo, double linear) {
    const double v = std::clamp(linear, 0.0, 1.0);
    const double encoded = photo.gamma > 0  ? std::pow(v, 1 / photo.gamma)
                           : v <= 0.0031308 ? 12.92 * v
                                            : 1.055 * std::pow(v, 1 / 2.4) - 0.055;
    const double s = encoded * encoded * (3 - 2 * encoded);
    return encoded + photo.contrast * (s - encoded);
}

class Taken {
  public:
    explicit Taken(const Photo& photo) : photo_(photo), random_(photo.seed) {
        const Vector3 white = response(photo.camera, photo.light, Spectrum::constant(1));
        const double strongest = std::max({white[0], white[1], white[2]});
        for (std::size_t c = 0; c < 3; ++c) {
            scale_[c] = photo.exposure / strongest;
            balance_[c] = strongest / white[c];
        }
        if (photo.encoded) make_matrix();
        frame_.centre = {80, 55};
        frame_.half_size = {55, 44};
        frame_.terms = photo.gradient;
    }

    const LightField& light_field() const { return frame_; }

    struct Mean {
        Vector3 rgb;
        bool clipped;
    };
    Mean shoot(const Spectrum& reflectance, const CardPoint& place) {
        Vector3 rgb = response(photo_.camera, photo_.light, reflectance);
        const Vector3 light = frame_.at(place);
        bool clipped = false;
        for (std::size_t c = 0; c < 3; ++c) {
            rgb[c] = rgb[c] * scale_[c] * light[c] + photo_.veil[c];
            rgb[c] += random_.normal() * (photo_.noise * rgb[c] + photo_.noise_floor);
        }
        if (photo_.encoded) {
            rgb = matrix_ * Vector3{rgb[0] * balance_[0], rgb[1] * balance_[1], rgb[2] * balance_[2]};
            for (double& v : rgb) {
                v = encode(photo_, v);
                clipped = clipped || v <= 0.002 || v >= 0.998;
            }
        }
        for (const double v : rgb) clipped = clipped || v >= 1;
        return {rgb, clipped};
    }

    std::vector<PatchSample> card() {
        std::vector<PatchSample> out;
        const std::vector<Printed> patches = card_patches();
        for (std::size_t i = 0; i < patches.size(); ++i) {
            const Spectrum spectrum =
                patches[i].role == PatchRole::trap ? Spectrum::constant(0.003) : printed(patches[i].inks);
            const Mean mean = shoot(spectrum, place_of(i));
            PatchSample p;
            p.id = std::string(1, static_cast<char>('A' + i / 12)) + std::to_string(i % 12 + 1);
            p.role = patches[i].role;
            p.rgb = mean.rgb;
            p.clipped = mean.clipped && p.role != PatchRole::trap;
            const Lab<D50> lab = to_lab(reflectance_to_xyz_d50(spectrum));
            const double error = p.role == PatchRole::trap ? 0 : photo_.reference_noise;
            p.reference = {lab.L + error * random_.normal(), lab.a + error * random_.normal(),
                           lab.b + error * random_.normal()};
            p.place = place_of(i);
            if (p.role != PatchRole::trap) p.spectrum = spectrum;
            out.push_back(p);
        }
        return out;
    }

  private:
    // The photo's own way to sRGB: least squares on a few reflectances, with more saturation, as phones do.
    void make_matrix() {
        Matrix3 square, product;
        for (const Spectrum& s : threads(77, 60)) {
            Vector3 raw = response(photo_.camera, photo_.light, s);
            for (std::size_t c = 0; c < 3; ++c) raw[c] *= scale_[c] * balance_[c] / photo_.exposure;
            const XYZ<D50> xyz = reflectance_to_xyz_d50(s);
            // D50 to linear sRGB, the inverse of the Bradford-adapted primaries.
            const Matrix3 to_srgb{{3.1338561, -1.6168667, -0.4906146, -0.9787684, 1.9161415, 0.0334540,
                                   0.0719453, -0.2289914, 1.4052427}};
            const Vector3 target = to_srgb * xyz.vector();
            for (std::size_t r = 0; r < 3; ++r)
                for (std::size_t c = 0; c < 3; ++c) {
                    square(r, c) += raw[r] * raw[c];
                    product(r, c) += target[r] * raw[c];
                }
        }
        const double s = photo_.saturation, k = (1 - s) / 3;
        const Matrix3 saturate{{s + k, k, k, k, s + k, k, k, k, s + k}};
        matrix_ = saturate * (product * inverse(square));
    }

    Photo photo_;
    Random random_;
    Vector3 scale_{}, balance_{};
    Matrix3 matrix_ = Matrix3::identity();
    LightField frame_;
};

}  // namespace simulated

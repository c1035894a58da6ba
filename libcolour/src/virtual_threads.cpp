#include "colour/virtual_threads.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>

#include "colour/layer.hpp"

namespace bindhue {
namespace {

constexpr std::size_t dye_count = 48;
constexpr std::size_t coloured = 300, neutral = 90, deep = 60, foils = 30, pale = 40, blanks = 80;
constexpr double least_reflectance = 1e-4, most_reflectance = 0.995;

// The standard distributions differ between libraries; these must not.
class Random {
  public:
    double uniform(double low, double high) {
        state_ += 0x9e3779b97f4a7c15U;  // SplitMix64 (Steele, Lea, Flood 2014)
        std::uint64_t z = state_;
        z = (z ^ (z >> 30U)) * 0xbf58476d1ce4e5b9U;
        z = (z ^ (z >> 27U)) * 0x94d049bb133111ebU;
        z ^= z >> 31U;
        return low + (high - low) * static_cast<double>(z >> 11U) * 0x1.0p-53;
    }
    double log_uniform(double low, double high) { return std::exp(uniform(std::log(low), std::log(high))); }
    std::size_t index(std::size_t size) {
        return std::min(size - 1, static_cast<std::size_t>(uniform(0, static_cast<double>(size))));
    }
    bool chance(double p) { return uniform(0, 1) < p; }

  private:
    std::uint64_t state_ = 20240607;
};

double wavenumber(double nm) { return 1e7 / nm; }  // per centimetre

double bell(double x, double centre, double width) {
    return std::exp(-0.5 * (x - centre) * (x - centre) / (width * width));
}

template <class F>
Spectrum spectrum_of(const F& f) {
    Spectrum s;
    for (std::size_t i = 0; i < spectrum_size; ++i) s[i] = f(Spectrum::wavelength_nm(i));
    return s;
}

Spectrum dye(Random& random, std::size_t number) {
    const double share = (static_cast<double>(number) + random.uniform(0, 1)) / dye_count;
    const double peak = wavenumber(405 + 290 * share);
    const double red_side = random.uniform(550, 1300), blue_side = red_side * random.uniform(1.0, 1.8);
    const double second = random.uniform(0.0, 0.7), spacing = random.uniform(1150, 2200);
    const double third = random.uniform(0.0, 0.4), third_peak = wavenumber(random.uniform(340, 440));
    return spectrum_of([&](double nm) {
        const double x = wavenumber(nm);
        return bell(x, peak, x < peak ? red_side : blue_side) + second * bell(x, peak + spacing, blue_side) +
               third * bell(x, third_peak, 2500);
    });
}

// Absorption over scattering of the fibre with nothing in it.
Spectrum fibre(Random& random) {
    const double grey = random.log_uniform(0.002, 0.03), yellow = random.log_uniform(0.005, 0.15),
                 reach = random.uniform(25, 60);
    return spectrum_of([&](double nm) { return grey + yellow * std::exp(-(nm - 380) / reach); });
}

class Maker {
  public:
    Maker() {
        for (std::size_t d = 0; d < dye_count; ++d) dyes_.push_back(dye(random_, d));
    }

    std::vector<VirtualThread> make() {
        for (std::size_t i = 0; i < blanks; ++i) grounds_.push_back(blank());
        for (const Spectrum& s : grounds_) add(s);
        for (std::size_t i = 0; i < coloured; ++i) add(finished(dyed(1 + random_.index(4), 0.04, 10)));
        for (std::size_t i = 0; i < deep; ++i) add(finished(dyed(1 + random_.index(4), 4, 40)));
        for (std::size_t i = 0; i < pale; ++i) add(finished(dyed(1 + random_.index(2), 0.005, 0.08)));
        for (std::size_t i = 0; i < neutral; ++i) add(finished(near_neutral()));
        for (std::size_t i = 0; i < foils; ++i) add(foil());
        return std::move(out_);
    }

  private:
    Spectrum dyed(std::size_t parts, double least, double most) {
        Spectrum s = fibre(random_);
        const double depth = random_.log_uniform(least, most);
        for (std::size_t k = 0; k < parts; ++k) {
            const Spectrum& one = dyes_[random_.index(dye_count)];
            const double amount = depth * random_.log_uniform(0.08, 1);
            for (std::size_t i = 0; i < spectrum_size; ++i) s[i] += amount * one[i];
        }
        return s;
    }

    // Three or four dyes that leave little chroma; many are thrown away.
    Spectrum near_neutral() {
        Spectrum best;
        double least = 1e9;
        for (int attempt = 0; attempt < 400 && least > 8; ++attempt) {
            const Spectrum s = dyed(3 + random_.index(2), 0.3, 14);
            Spectrum body;
            for (std::size_t i = 0; i < spectrum_size; ++i) body[i] = infinite_reflectance(s[i]);
            const Lab<D50> lab = to_lab(reflectance_to_xyz_d50(body));
            const double chroma = std::hypot(lab.a, lab.b);
            if (chroma >= least) continue;
            least = chroma;
            best = s;
        }
        return best;
    }

    // Dry, coated, or thin over a ground.
    Spectrum finished(const Spectrum& k_over_s) {
        const bool coated = random_.chance(0.6), thin = random_.chance(0.4);
        const double scattering = random_.log_uniform(0.7, 8);
        const Spectrum& ground = grounds_[random_.index(grounds_.size())];
        const Film film = coated ? Film(random_.uniform(1.48, 1.56)) : Film();
        const double contact = random_.uniform(0.1, 1), surface = coated ? 0 : random_.uniform(0.004, 0.015);
        const double amber = random_.chance(0.4) ? random_.log_uniform(0.02, 0.5) : 0;
        Spectrum out;
        for (std::size_t i = 0; i < spectrum_size; ++i) {
            const double body =
                thin ? TwoFluxLayer{k_over_s[i] * scattering, scattering}.reflectance_over(ground[i])
                     : infinite_reflectance(k_over_s[i]);
            const double seen = contact * film.outside(body) + (1 - contact) * body;
            const double tint = std::exp(-amber * std::exp(-(Spectrum::wavelength_nm(i) - 400) / 70));
            out[i] = surface + (1 - surface) * seen * tint;
        }
        return out;
    }

    Spectrum foil() {
        const double level = random_.uniform(0.25, 0.8);
        const Spectrum& one = dyes_[random_.index(dye_count)];
        const Spectrum& other = dyes_[random_.index(dye_count)];
        const double first = random_.log_uniform(0.05, 2.5), second = random_.chance(0.5) ? random_.log_uniform(0.05, 1) : 0;
        Spectrum out;
        for (std::size_t i = 0; i < spectrum_size; ++i)
            out[i] = 0.005 + level * std::exp(-first * one[i] - second * other[i]);
        return out;
    }

    Spectrum blank() {
        const double kind = random_.uniform(0, 1);
        if (kind < 0.35) {  // carbon, graphite, grey paint
            const double level = random_.log_uniform(0.015, 0.5), slope = random_.uniform(-0.25, 0.25);
            return spectrum_of([&](double nm) { return level * (1 + slope * (nm - 560) / 180); });
        }
        if (kind < 0.7) {  // cane, cork, brown and honey varnish
            const double low = random_.log_uniform(0.015, 0.15), high = random_.uniform(0.08, 0.6);
            const double middle = random_.uniform(500, 640), width = random_.uniform(35, 90);
            return spectrum_of([&](double nm) {
                return std::min(low, high) + std::abs(high - low) / (1 + std::exp((middle - nm) / width));
            });
        }
        // Paint: an edge or a band of pigment, softer or steeper than dyes.
        const double low = random_.log_uniform(0.02, 0.1), high = random_.uniform(0.1, 0.7);
        const double up = random_.uniform(380, 640), down = up + random_.uniform(60, 250);
        const double steep = random_.uniform(9, 30), back = random_.uniform(0, 1) < 0.5 ? 0 : random_.uniform(0.3, 1);
        return spectrum_of([&](double nm) {
            return low + high / (1 + std::exp((up - nm) / steep)) * (1 - back / (1 + std::exp((down - nm) / steep)));
        });
    }

    void add(Spectrum s) {
        for (double& v : s.values) v = std::clamp(v, least_reflectance, most_reflectance);
        out_.push_back({s, reflectance_to_xyz_d50(s)});
    }

    Random random_;
    std::vector<Spectrum> dyes_, grounds_;
    std::vector<VirtualThread> out_;
};

}  // namespace

const std::vector<VirtualThread>& virtual_threads() {
    static const std::vector<VirtualThread> threads = Maker().make();
    return threads;
}

}  // namespace bindhue

// How well the camera fit reads threads: a table over lights and ways of fitting, on invented inks, dyes and
// cameras (tests/support/simulated_card.hpp), or on the cameras of a file of measured sensitivities.
//
//   fit_accuracy [SENSITIVITIES.json] [--cameras N] [--seed N] [--threads REFLECTANCES.txt]
//
// The first file: {"cameras": {NAME: {"R": [81 values, 380 to 780 nm by 5 nm], "G": [...], "B": [...]}}}. The second: a line for each
// thread, 81 values of 0 to 1, measured ones for instance. The spectral way gets a prior that was learnt from the other cameras.
#include <chrono>
#include <cstdio>

#include "../support/learn_prior.hpp"
#include "../support/simulated_card.hpp"
#include "cameras_from.hpp"
#include "colour/difference.hpp"

namespace {

using namespace simulated;

double quantile(std::vector<double> v, double p) {
    if (v.empty()) return 0;
    std::sort(v.begin(), v.end());
    return v[std::min(v.size() - 1, static_cast<std::size_t>(p * static_cast<double>(v.size())))];
}

// Kinds of thread: dull, middling, vivid, and those that clip a channel.
struct Class {
    std::size_t held = 0, all = 0;
    std::vector<double> error, forecast;  // in a* and b*, root mean square of the two

    void add(bool holds, const Vector3& d, const Reading& r) {
        held += holds;
        ++all;
        error.push_back(std::sqrt((d[1] * d[1] + d[2] * d[2]) / 2));
        forecast.push_back(std::sqrt((r.covariance(1, 1) + r.covariance(2, 2)) / 2));
    }
};

struct Tally {
    std::array<Class, 4> classes;
    std::vector<double> errors, held_out, check;
    std::size_t covered = 0, read = 0, refused = 0, roots = 0, curved = 0, dropped = 0;
    double worst_coverage = 1, milliseconds = 0;
    std::vector<double> radius;

    void add(const Photo& photo, const FitOptions& options, const std::vector<Spectrum>& spectra) {
        Taken taken(photo);
        const std::vector<PatchSample> card = taken.card();
        const auto begin = std::chrono::steady_clock::now();
        const Result<CameraFit> fit = fit_camera(card, options);
        milliseconds +=
            std::chrono::duration<double, std::milli>(std::chrono::steady_clock::now() - begin).count();
        if (!fit) {
            ++refused;
            std::printf("  refused: %s\n", fit.error().what.c_str());
            return;
        }
        roots += fit->model == ColourModel::root_polynomial;
        curved += fit->field.terms[0][2] != 0;
        for (const PatchResult& p : fit->patches) dropped += !p.dropped.empty() && p.dropped != "clipped";
        held_out.push_back(fit->held_out_median);
        check.push_back(fit->check_median);
        std::size_t inside = 0, here = 0;
        for (const Spectrum& s : spectra) {
            const Taken::Mean mean = taken.shoot(s, opening);
            const Lab<D50> truth = to_lab(reflectance_to_xyz_d50(s));
            const CameraRgb undone = CameraRgb::from(fit->undo(mean.rgb, opening));
            const Reading reading = fit->read(undone, Matrix3{});
            errors.push_back(ciede2000(truth, reading.lab));
            const Matrix3 precision = inverse(reading.covariance);
            const Vector3 d{truth.L - reading.lab.L, truth.a - reading.lab.a, truth.b - reading.lab.b};
            const Vector3 pd = precision * d;
            const bool holds = d[0] * pd[0] + d[1] * pd[1] + d[2] * pd[2] <= 7.815;
            const double chroma = std::hypot(truth.a, truth.b);
            classes[mean.clipped ? 3U : chroma < 12 ? 0U : chroma < 40 ? 1U : 2U].add(holds, d, reading);
            if (mean.clipped) continue;
            inside += holds;
            radius.push_back(2.7955 * std::cbrt(std::sqrt(std::max(determinant(reading.covariance), 0.0))));
            ++here;
        }
        covered += inside;
        read += here;
        worst_coverage = std::min(worst_coverage, static_cast<double>(inside) / static_cast<double>(here));
    }

    void print(const char* what) const {
        const double n = static_cast<double>(held_out.size());
        std::printf(
            "%-34s %5.2f %5.2f   held out %5.2f  check %5.2f   cover %5.1f %% worst %5.1f %%  radius %4.1f  "
            "roots %3.0f %% curved %3.0f %% dropped %4.2f refused %zu  %5.1f ms\n",
            what, quantile(errors, 0.5), quantile(errors, 0.95), quantile(held_out, 0.5),
            quantile(check, 0.5), 100.0 * static_cast<double>(covered) / static_cast<double>(read),
            100 * worst_coverage, quantile(radius, 0.5), 100 * static_cast<double>(roots) / n,
            100 * static_cast<double>(curved) / n, static_cast<double>(dropped) / n, refused,
            milliseconds / (n + static_cast<double>(refused)));
        constexpr std::array kinds{"dull", "middling", "vivid", "clipped"};
        std::printf("%-34s", "  covered; ab error and forecast:");
        for (std::size_t k = 0; k < classes.size(); ++k) {
            if (classes[k].all == 0) continue;
            double squares = 0;
            for (const double e : classes[k].error) squares += e * e;
            std::printf("  %s %5.1f %%; %.2f %.2f", kinds[k],
                        100.0 * static_cast<double>(classes[k].held) / static_cast<double>(classes[k].all),
                        std::sqrt(squares / static_cast<double>(classes[k].all)),
                        quantile(classes[k].forecast, 0.5));
        }
        std::printf("\n");
    }
};

// Of the other cameras, for each.
std::vector<CameraLightPrior> priors_without(const std::vector<Camera>& cameras) {
    const std::vector<LibraryLight> lights = learn::library(learn::daylight_components());
    std::vector<CameraLightPrior> out;
    for (std::size_t left_out = 0; left_out < cameras.size(); ++left_out) {
        std::vector<ChannelCurves> others;
        for (std::size_t k = 0; k < cameras.size(); ++k)
            if (k != left_out) others.push_back(cameras[k].sensitivity);
        out.push_back(learn::prior(others, lights, 6));
    }
    return out;
}

}  // namespace

int main(int argc, char** argv) {
    std::vector<Camera> cameras;
    std::size_t count = 10;
    std::uint64_t seed = 5;
    std::vector<Spectrum> spectra;
    for (int i = 1; i < argc; ++i) {
        if (std::string(argv[i]) == "--cameras" && i + 1 < argc)
            count = std::min<std::size_t>(std::strtoul(argv[++i], nullptr, 10), 1000);
        else if (std::string(argv[i]) == "--seed" && i + 1 < argc)
            seed = std::strtoull(argv[++i], nullptr, 10);
        else if (std::string(argv[i]) == "--threads" && i + 1 < argc)
            spectra = reflectances_from(argv[++i]);
        else
            cameras = cameras_from(argv[i]);
        // Or invented ones would be taken in their place, and their figures for those of the file.
        const std::string what = argv[i - 1];
        if (what == "--threads" ? spectra.empty() : what != "--cameras" && what != "--seed" && cameras.empty()) {
            std::fprintf(stderr, "%s: nothing could be read from it\n", argv[i]);
            return 3;
        }
    }
    if (cameras.empty()) {
        Random random(2024);
        for (std::size_t i = 0; i < count; ++i) cameras.push_back(invented_camera(random));
    }
    if (spectra.empty()) spectra = threads(seed, 240);
    const std::vector<CameraLightPrior> priors = priors_without(cameras);
    std::printf("CIEDE2000 of threads, median and 95th percentile, %zu cameras, %zu threads\n",
                cameras.size(), spectra.size());

    struct Way {
        const char* name;
        bool encoded, nuisance, spectral;
        std::optional<ColourModel> model;
    };
    const std::array<Way, 11> ways{
        {{"linear, even, 3x3", false, false, false, ColourModel::matrix},
         {"linear, even, root-polynomial", false, false, false, ColourModel::root_polynomial},
         {"linear, even, chosen", false, false, false, {}},
         {"linear, even, spectral", false, false, true, {}},
         {"linear, uneven, veil, 3x3", false, true, false, ColourModel::matrix},
         {"linear, uneven, veil, chosen", false, true, false, {}},
         {"linear, uneven, veil, spectral", false, true, true, {}},
         {"encoded, even, chosen", true, false, false, {}},
         {"encoded, even, spectral", true, false, true, {}},
         {"encoded, uneven, veil, chosen", true, true, false, {}},
         {"encoded, uneven, veil, spectral", true, true, true, {}}}};
    constexpr std::array lights{Illuminant::D50, Illuminant::D65, Illuminant::LED_B3,
                                Illuminant::F2,  Illuminant::F11, Illuminant::A};
    for (const Way& way : ways) {
        Tally all, fair;
        for (const Illuminant light : lights) {
            Tally tally;
            Random random(94 + seed + static_cast<std::uint64_t>(light));
            for (std::size_t k = 0; k < cameras.size(); ++k) {
                Photo photo;
                photo.camera = cameras[k];
                photo.light = illuminant(light);
                photo.seed = 1000 * k + 100 * (seed - 5) + static_cast<std::uint64_t>(light);
                photo.encoded = way.encoded;
                photo.contrast = random.uniform(0, 0.6);
                photo.saturation = random.uniform(1.0, 1.15);
                photo.exposure = random.uniform(0.55, 0.85);
                if (way.nuisance) {
                    const double veil = random.uniform(0.002, 0.015), gu = random.uniform(-0.2, 0.2),
                                 gv = random.uniform(-0.2, 0.2), bend = random.uniform(-0.08, 0.02);
                    for (std::size_t c = 0; c < 3; ++c) {
                        photo.veil[c] = veil * photo.exposure * random.uniform(0.7, 1.0);
                        photo.gradient[c] = {gu + random.uniform(-0.02, 0.02),
                                             gv + random.uniform(-0.02, 0.02), bend,
                                             random.uniform(-0.02, 0.02), bend * random.uniform(0, 1)};
                    }
                    photo.exposure *= 0.8;
                }
                FitOptions options;
                options.linear = !way.encoded;
                options.trust = Trust::measured;
                options.model = way.model;
                if (way.spectral) options.prior = &priors[k];
                tally.add(photo, options, spectra);
                all.add(photo, options, spectra);
                if (light == Illuminant::D50 || light == Illuminant::D65 || light == Illuminant::LED_B3)
                    fair.add(photo, options, spectra);
            }
            tally.print((std::string(way.name) + ", " + std::string(name(light))).c_str());
        }
        fair.print((std::string(way.name) + ", FAIR").c_str());
        all.print((std::string(way.name) + ", ALL").c_str());
    }
}

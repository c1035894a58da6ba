#include "colour/camera_fit.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <limits>

#include "camera_fit_joint.hpp"
#include "colour/brightener.hpp"
#include "colour/difference.hpp"
#include "colour/smoothest.hpp"
#include "spectral_fit.hpp"

namespace bindhue {
namespace {

using detail::End;
using detail::JointChoice;
using detail::JointData;
using detail::JointFit;
using detail::JointPatch;
using detail::JointTrap;

constexpr std::size_t most_patches = 5000;
constexpr std::size_t fewest_patches = 8, fewest_grey_steps = 4, fewest_for_field = 12;
// An encoded mean this near 0 or 1 has pixels beyond it.
constexpr double low_end = 2.5 / 255, high_end = 1 - 0.002;
constexpr double same_ink = 1.5;     // Lab distance within which two references are one ink, printed twice
constexpr double same_step = 3.0;    // L* within which two greys are one step
constexpr double field_gain = 0.95;  // a curved field must lower the held-out error by this much
constexpr double outlier_times = 6, outlier_least = 8;  // CIEDE2000; both are to be exceeded
constexpr double outlier_share = 0.3;                   // of the patches that may be dropped before giving up
constexpr double beyond_ink = 20;    // CIEDE2000: no ink is printed as far off, so two prints that err alike are covered alike
constexpr double neighbour_mm = 15;  // a check patch among dropped ones within this reach may be covered with them
constexpr double greatest_median = 6;

// When the spectral way is taken. Chosen by eye on simulated cards (tests/accuracy/fit_accuracy.cpp): over 60 cameras and lights the
// share of the ordinary error was 0.56 to 0.95 and the noise 0.7 to 2 where spectra were right; 0.8 to 1.5 and 2.5 where they were
// guessed from Lab; 0.8 to 1.25 and 9 where the print was not the one that was measured.
constexpr std::size_t fewest_for_spectral = 12;
constexpr double spectral_share = 0.97, guessed_share = 0.9;  // of the ordinary held-out error
constexpr double most_noise = 3, most_noise_guessed = 2;      // in units of a good photo's
constexpr double few_spectra = 0.8;  // share of patches below which the spectra count as guessed
constexpr double good_light = 1.0, fair_light = 1.5;  // median forecast, CIEDE2000
// The forecast on virtual threads, widened for threads that are not like them. Tuned on rendered photos (seeds 505000 to 535011, 600000 to 630014).
constexpr double forecast_factor = 1.7, forecast_floor = 0.25;

// Errors that no patch shows, as standard deviations per axis in weighted Lab (detail::lab_weight). Calibrated on simulated
// threads (tests/accuracy/fit_accuracy.cpp), hence to be scaled by a shop's own evidence once there is some.
constexpr double held_out_factor = 1.6;  // inks err less than threads under the same fit
constexpr double other_dyes = 0.45;      // threads are not inks: camera and eye differ
// Of a light's ultraviolet against that of the instrument's light, where a card's paper makes blue of it: from none (a white LED) to as much, one as likely as the other
// (1 / sqrt 3), or somewhat more.
constexpr double ultraviolet_unknown = 0.6;
constexpr double trust_nominal = 1.5, trust_assigned = 0.5, trust_measured = 0.15;
constexpr double shading = 0.01;      // relative: light at the wrap against the field's forecast
constexpr double kernel_width = 25;   // Lab distance over which held-out errors are alike
constexpr double kernel_share = 0.3;  // weight of all patches together beside the near ones
constexpr double least_light = 0.01;  // of X, Y or Z, what a channel that ends at black may still take off
constexpr double hull_reach = 20;     // Lab distance to the nearest patch beyond which the error grows

Error bad_value(const std::string& what, const std::string& where, const std::string& mend) {
    return {Reason::bad_value, what, where, mend};
}

std::string number(double v) {
    char text[32];
    std::snprintf(text, sizeof text, "%.3g", v);
    return text;
}

bool finite(const Vector3& v) { return std::isfinite(v[0]) && std::isfinite(v[1]) && std::isfinite(v[2]); }

Status check(const PatchSample& p, std::size_t index, const FitOptions& options) {
    const std::string where = p.id.empty() ? "patch number " + std::to_string(index + 1) : "patch " + p.id;
    if (!finite(p.rgb))
        return bad_value("A camera value is not a number.", where,
                         "Correct the table or leave the patch out.");
    const double low = options.linear ? -1e6 : -1e-3, high = options.linear ? 1e6 : 1 + 1e-3;
    for (const double v : p.rgb)
        if (v < low || v > high)
            return bad_value("A camera value of " + number(v) + " is outside " +
                                 (options.linear ? "what a linear file holds." : "0 to 1."),
                             where,
                             options.linear ? "Scale linear values so that full scale is 1."
                                            : "Divide 8-bit values by 255; give linear values as linear.");
    if (!finite(p.standard_error) ||
        std::min({p.standard_error[0], p.standard_error[1], p.standard_error[2]}) < 0)
        return bad_value("A standard error is negative or not a number.", where,
                         "Give 0 where it is not known.");
    const Lab<D50>& r = p.reference;
    if (!finite(r.vector()) || r.L < 0 || r.L > 110 || std::abs(r.a) > 200 || std::abs(r.b) > 200)
        return bad_value("The reference is no CIELAB colour (L 0 to 110, a and b within 200).", where,
                         "Correct the card's values.");
    for (std::size_t k = 0; k < 3; ++k)
        if (!std::isfinite(p.reference_covariance(k, k)) || p.reference_covariance(k, k) < 0)
            return bad_value("The reference's variance is negative or not a number.", where, "Give zeros where it is not known.");
    if (p.place && (!std::isfinite(p.place->x_mm) || !std::isfinite(p.place->y_mm) ||
                    std::abs(p.place->x_mm) > 1e5 || std::abs(p.place->y_mm) > 1e5))
        return bad_value("The place on the card is not a number of millimetres.", where,
                         "Correct the layout or leave the places out.");
    return ok();
}

std::array<End, 3> ends_of(const PatchSample& p, const FitOptions& options) {
    std::array<End, 3> out{};
    for (std::size_t c = 0; c < 3; ++c) {
        if (p.clipped_high[c] || (!options.linear && p.rgb[c] >= high_end))
            out[c] = End::high;
        else if (p.clipped_low[c] || (!options.linear && p.rgb[c] <= low_end))
            out[c] = End::low;
    }
    return out;
}

// Nothing is known of it: some channel is clipped and the table does not say which, or all are.
bool tells_nothing(const PatchSample& p, const std::array<End, 3>& ends) {
    const auto open = std::count(ends.begin(), ends.end(), End::none);
    return open == 0 || (p.clipped && open == 3);
}

double quantile(std::vector<double> v, double p) {
    if (v.empty()) return 0;
    std::sort(v.begin(), v.end());
    const double x = p * static_cast<double>(v.size() - 1);
    const auto i = std::min(static_cast<std::size_t>(x), v.size() - 1);
    const std::size_t j = std::min(i + 1, v.size() - 1);
    return v[i] + (x - static_cast<double>(i)) * (v[j] - v[i]);
}

// See CameraFit::prints_disagree. `held_out`: by fits that saw neither print.
double disagreement_of_prints(std::span<const PatchSample> samples, const JointData& data, const std::vector<Lab<D50>>& held_out) {
    constexpr double apart_mm = 20, darkest_L = 20;
    constexpr std::size_t fewest_pairs = 6;
    std::vector<double> differences;
    for (std::size_t i = 0; i < data.patches.size(); ++i)
        for (const std::size_t k : data.patches[i].twins) {
            const PatchSample &one = samples[data.patches[i].source], &other = samples[data.patches[k].source];
            if (k <= i || !one.place || !other.place || data.patches[i].censored() || data.patches[k].censored()) continue;
            if (one.reference.L < darkest_L ||
                std::hypot(one.place->x_mm - other.place->x_mm, one.place->y_mm - other.place->y_mm) < apart_mm)
                continue;
            const double a = to_xyz(held_out[i]).Y / to_xyz(one.reference).Y, b = to_xyz(held_out[k]).Y / to_xyz(other.reference).Y;
            differences.push_back(2 * std::abs(a - b) / (a + b));
        }
    constexpr double of_median = 1.4826, of_pair = 0.70710678;
    return differences.size() < fewest_pairs ? -1 : of_median * of_pair * quantile(differences, 0.5);
}

std::vector<Lab<D50>> greys_of(std::span<const PatchSample> samples) {
    std::vector<Lab<D50>> out;
    for (const PatchSample& s : samples)
        if (s.role == PatchRole::grey) out.push_back(s.reference);
    return out;
}

double reference_noise(const PatchSample& s) {
    double sum = 0;
    for (std::size_t k = 0; k < 3; ++k) sum += detail::lab_weight[k] * detail::lab_weight[k] * s.reference_covariance(k, k);
    return sum;
}

// Patches and traps as the joint fit wants them. `taking_part` marks the patches that the fit may see.
JointData gather(std::span<const PatchSample> samples, const std::vector<bool>& taking_part,
                 const LightField& frame, const FitOptions& options) {
    JointData data;
    for (std::size_t i = 0; i < samples.size(); ++i) {
        const PatchSample& s = samples[i];
        if (!taking_part[i]) continue;
        const LightField::Terms place = s.place ? frame.basis(*s.place) : LightField::Terms{};
        if (s.role == PatchRole::trap)
            data.traps.push_back({i, s.rgb, to_xyz(s.reference).Y, place});
        else
            data.patches.push_back({i, s.rgb, s.standard_error, s.reference, place, ends_of(s, options), {}, reference_noise(s)});
    }
    for (JointPatch& p : data.patches)
        for (std::size_t k = 0; k < data.patches.size(); ++k)
            if (cie1976(p.reference, data.patches[k].reference) < same_ink) p.twins.push_back(k);
    return data;
}

// Brings each channel near reflectance by the greys, or by all patches where there is none. Zero light gives
// a gain of zero.
Vector3 gain_of(std::span<const PatchSample> samples, const JointData& data, const ToneCurve& tone) {
    Vector3 gain{};
    for (const bool greys_only : {true, false}) {
        Vector3 product{}, square{};
        for (const JointPatch& p : data.patches) {
            if (greys_only && samples[p.source].role != PatchRole::grey) continue;
            const Vector3 linear = tone.to_linear(p.rgb);
            const double Y = to_xyz(p.reference).Y;
            for (std::size_t c = 0; c < 3; ++c) {
                product[c] += linear[c] * Y;
                square[c] += linear[c] * linear[c];
            }
        }
        for (std::size_t c = 0; c < 3; ++c)
            if (gain[c] <= 0 && product[c] > 0) gain[c] = product[c] / square[c];
    }
    return gain;
}

double mean_difference(const JointData& data, const std::vector<Lab<D50>>& predicted) {
    double sum = 0, count = 1e-9;
    for (std::size_t i = 0; i < predicted.size(); ++i) {
        if (data.patches[i].censored()) continue;
        const double error = ciede2000(data.patches[i].reference, predicted[i]);
        sum += std::isfinite(error) ? error : 100;
        count += 1;
    }
    return sum / count;
}

// The choice with the smallest held-out error: first the colour model, then how the light bends. A rendered
// photo has been through a matrix that drives vivid colours to zero in a channel, where roots bend most and the
// file says least: there the roots looked better on held-out patches and were worse on check patches.
JointFit select(const JointData& data, const FitOptions& options, bool with_field) {
    const auto score = [&](const JointFit& fit) {
        return fit.sound() ? mean_difference(data, fit.held_out()) : 1e9;
    };
    const int linear_field = with_field ? LightField::linear_terms : 0;
    JointFit best(data, {options.model.value_or(ColourModel::matrix), linear_field, options.linear});
    double best_score = score(best);
    const auto try_choice = [&](const JointChoice& choice, double needed) {
        JointFit other(data, choice, &best);
        const double other_score = score(other);
        if (other_score >= needed * best_score) return;
        best = std::move(other);
        best_score = other_score;
    };
    if (!options.model && options.linear)
        try_choice({ColourModel::root_polynomial, linear_field, options.linear}, 1.0);
    if (with_field)
        try_choice({best.choice().model, LightField::quadratic_terms, options.linear}, field_gain);
    return best;
}

// Whether another print of the same ink errs in the same way: then it is the inks, not glare on this patch.
bool twin_agrees(const JointData& data, const std::vector<Lab<D50>>& predicted, std::size_t patch) {
    const auto error = [&](std::size_t i) {
        const Lab<D50>& reference = data.patches[i].reference;
        return Vector3{predicted[i].L - reference.L, predicted[i].a - reference.a,
                       predicted[i].b - reference.b};
    };
    if (ciede2000(data.patches[patch].reference, predicted[patch]) > beyond_ink) return false;
    const Vector3 own = error(patch);
    for (const std::size_t twin : data.patches[patch].twins) {
        if (twin == patch) continue;
        const Vector3 other = error(twin);
        if (std::hypot(own[0] - other[0], own[1] - other[1], own[2] - other[2]) <
            0.5 * std::hypot(own[0], own[1], own[2]))
            return true;
    }
    return false;
}

// A check patch is no witness where it is covered: it reads further off than any ink, and so do patches beside it.
void leave_out_covered_checks(CameraFit& fit, std::span<const PatchSample> samples) {
    constexpr int witnesses = 2;
    for (std::size_t i = 0; i < samples.size(); ++i) {
        PatchResult& check = fit.patches[i];
        if (check.role != PatchRole::check || check.delta_e < beyond_ink || !samples[i].place) continue;
        int covered = 0;
        for (std::size_t k = 0; k < samples.size(); ++k)
            if (const PatchResult& beside = fit.patches[k];
                beside.role != PatchRole::check && beside.delta_e >= beyond_ink / 2 && !beside.dropped.empty() && samples[k].place)
                covered += std::hypot(samples[k].place->x_mm - samples[i].place->x_mm, samples[k].place->y_mm - samples[i].place->y_mm) < neighbour_mm;
        if (covered >= witnesses) check.dropped = "reads " + number(check.delta_e) + " away, and so do its neighbours: covered";
    }
}

void set_ends(CameraFit& fit, std::span<const PatchSample> samples, const FitOptions& options) {
    constexpr double infinity = std::numeric_limits<double>::infinity();
    fit.darkest = {-infinity, -infinity, -infinity};
    fit.lightest = {infinity, infinity, infinity};
    if (!options.linear) {
        fit.darkest = fit.undo({low_end, low_end, low_end}, {});
        fit.lightest = fit.undo({high_end, high_end, high_end}, {});
        return;
    }
    // A linear file may be scaled at will; only a clipped patch shows where it ends.
    for (const PatchSample& s : samples)
        for (std::size_t c = 0; c < 3; ++c)
            if (s.clipped_high[c]) fit.lightest[c] = std::min(fit.lightest[c], fit.undo(s.rgb, {})[c]);
}

// Brings the undone response of each channel near reflectance, by the greys. Zero if they show no light.
Vector3 grey_gain(std::span<const PatchSample> samples, const JointData& data, const CameraFit& fit) {
    Vector3 product{}, square{};
    for (const JointPatch& p : data.patches) {
        const PatchSample& s = samples[p.source];
        if (s.role != PatchRole::grey || p.censored()) continue;
        const Vector3 v = fit.undo(s.rgb, s.place);
        for (std::size_t c = 0; c < 3; ++c) {
            product[c] += v[c] * to_xyz(s.reference).Y;
            square[c] += v[c] * v[c];
        }
    }
    Vector3 gain{};
    for (std::size_t c = 0; c < 3; ++c)
        if (product[c] > 0 && std::isfinite(product[c] / square[c])) gain[c] = product[c] / square[c];
    return gain;
}

// The patches that take part, in the order of the joint fit's, and then the traps. `guessed` counts those without a spectrum.
std::vector<detail::SpectralPatch> with_spectra(std::span<const PatchSample> samples, const JointData& data,
                                                const CameraFit& fit, const Vector3& gain,
                                                std::size_t& guessed) {
    std::vector<detail::SpectralPatch> out;
    const auto add = [&](const PatchSample& s, const Spectrum& reflectance, const std::array<End, 3>& ends,
                         std::vector<std::size_t> twins) {
        detail::SpectralPatch p;
        p.reflectance = reflectance;
        p.colour = to_xyz(s.reference);
        p.twins = std::move(twins);
        if (s.place) {
            p.place = fit.field.basis(*s.place);
            p.light = fit.field.at(*s.place);
        }
        p.response = fit.undo(s.rgb, s.place);
        const Vector3 linear = fit.tone.to_linear(s.rgb), slope = fit.tone.slope(s.rgb);
        for (std::size_t c = 0; c < 3; ++c) {
            p.response[c] *= gain[c];
            p.standard_error[c] = s.standard_error[c] * slope[c] * gain[c] / p.light[c];
            p.known[c] = ends[c] == End::none;
            p.tone[c] = detail::tone_bells(s.rgb[c]);
            for (double& v : p.tone[c]) v *= linear[c] * gain[c] / p.light[c];
        }
        out.push_back(std::move(p));
    };
    for (const JointPatch& p : data.patches) {
        const PatchSample& s = samples[p.source];
        if (s.spectrum) {
            add(s, *s.spectrum, p.end, p.twins);
            continue;
        }
        ++guessed;
        const Result<Spectrum> guess = smoothest_reflectance(to_xyz(s.reference));
        if (!guess)
            return {};  // no surface has this colour, so the card's values are not to be reasoned with
        add(s, *guess, p.end, p.twins);
    }
    for (const JointTrap& t : data.traps) {
        const PatchSample& s = samples[t.source];
        add(s, s.spectrum.value_or(Spectrum::constant(std::max(t.reflectance, 0.0))), {}, {out.size()});
    }
    return out;
}

ToneCurve without(ToneCurve tone, const std::array<detail::ToneBells, 3>& left_over) {
    for (std::size_t c = 0; c < 3; ++c)
        for (std::size_t k = 0; k < ToneCurve::knots; ++k) {
            const double encoded = static_cast<double>(k) / static_cast<double>(ToneCurve::knots - 1);
            tone.linear[c][k] *= 1 - detail::of_bells(left_over[c], detail::tone_bells(encoded));
            if (k > 0) tone.linear[c][k] = std::max(tone.linear[c][k], tone.linear[c][k - 1]);
        }
    return tone;
}

LightEstimate light_of(const detail::CameraEstimate& camera, const detail::ThreadMap& threads,
                       const CameraLightPrior& prior) {
    const LibraryLight& best = prior.lights[camera.lights().front().light];
    LightEstimate out{
        best.kind, best.name, 0, LightGrade::poor, threads.forecast_median(), threads.forecast_p95()};
    for (const detail::LightShare& s : camera.lights())
        if (prior.lights[s.light].kind == best.kind) out.share += s.share;
    out.grade = out.forecast_median < good_light   ? LightGrade::good
                : out.forecast_median < fair_light ? LightGrade::fair
                                                   : LightGrade::poor;
    return out;
}

// The ordinary fit made spectral, if that is to be preferred. `held_out`: colours of the patches that take part, by the ordinary fit;
// replaced by the spectral way's.
std::optional<CameraFit> spectral_fit(const CameraFit& ordinary, std::span<const PatchSample> samples,
                                      const JointData& data, const CameraLightPrior& prior,
                                      std::vector<Lab<D50>>& held_out, bool linear) {
    const Vector3 gain = grey_gain(samples, data, ordinary);
    if (!(std::min({gain[0], gain[1], gain[2]}) > 0)) return {};
    std::size_t guessed = 0;
    std::vector<detail::SpectralPatch> patches = with_spectra(samples, data, ordinary, gain, guessed);
    if (patches.size() < fewest_for_spectral) return {};
    detail::CameraEstimate camera(patches, gain, prior, linear ? detail::Channels::of_the_camera : detail::Channels::mixed);
    if (!camera.sound()) return {};
    const bool by_guess =
        static_cast<double>(guessed) > (1 - few_spectra) * static_cast<double>(patches.size());
    if (camera.noise() > (by_guess ? most_noise_guessed : most_noise)) return {};

    // Tone, glare and field that the estimate found beyond what the ordinary fit had undone.
    CameraFit fit = ordinary;
    fit.tone = without(fit.tone, camera.tone());
    for (std::size_t c = 0; c < 3; ++c) {
        fit.flare[c] += camera.glare()[c] / gain[c];
        for (std::size_t k = 0; k < LightField::quadratic_terms; ++k)
            fit.field.terms[c][k] += camera.field()[c][k];
    }
    const auto corrected = [&](const detail::SpectralPatch& p, Vector3 v) {
        for (std::size_t c = 0; c < 3; ++c) {
            double light = 1;
            for (std::size_t k = 0; p.place && k < p.place->size(); ++k)
                light += camera.field()[c][k] * (*p.place)[k];
            v[c] = (v[c] - detail::of_bells(camera.tone()[c], p.tone[c]) - camera.glare()[c] / p.light[c]) / light;
        }
        return v;
    };
    std::vector<Vector3> forecast;
    for (std::size_t i = 0; i < patches.size(); ++i) {
        forecast.push_back(corrected(patches[i], camera.held_out()[i]));
        patches[i].response = corrected(patches[i], patches[i].response);
    }
    patches.resize(data.patches.size());  // the traps have done their part
    detail::ThreadMap threads(camera, patches, fit.tone, gain, ColourModel::root_polynomial_3);
    fit.model = ColourModel::root_polynomial_3;
    const detail::MapTerms unit = detail::expand(fit.model, gain);
    for (std::size_t row = 0; row < 3; ++row)
        for (std::size_t k = 0; k < unit.size(); ++k) fit.map[row][k] = threads.map()[row][k] * unit[k];

    double sum = 0, count = 1e-9;
    for (std::size_t i = 0; i < patches.size(); ++i) {
        if (data.patches[i].censored()) continue;
        const auto lab = [&](const Vector3& v) {
            return to_lab(fit.to_xyz(CameraRgb{v[0] / gain[0], v[1] / gain[1], v[2] / gain[2]}));
        };
        const double error = ciede2000(lab(patches[i].response), lab(forecast[i]));
        sum += std::isfinite(error) ? error : 100;
        count += 1;
    }
    if (!(sum / count < (by_guess ? guessed_share : spectral_share) * mean_difference(data, held_out)))
        return {};
    held_out = threads.held_out();
    fit.light = light_of(camera, threads, prior);
    if (!linear) fit.light->name = fit.light->kind;
    fit.spectral = std::make_shared<const detail::SpectralFit>(
        detail::SpectralFit{gain, std::move(camera), std::move(threads)});
    return fit;
}

}  // namespace

Vector3 CameraFit::undo(const Vector3& rgb, const std::optional<CardPoint>& place) const {
    Vector3 out = tone.to_linear(rgb);
    const Vector3 relative = place ? field.at(*place) : Vector3{1, 1, 1};
    for (std::size_t c = 0; c < 3; ++c) out[c] = (out[c] - flare[c]) / relative[c];
    return out;
}

XYZ<D50> CameraFit::to_xyz(const CameraRgb& linear) const {
    const detail::MapTerms terms = detail::expand(model, linear.vector());
    Vector3 out{};
    for (std::size_t row = 0; row < 3; ++row)
        for (std::size_t k = 0; k < terms.size(); ++k) out[row] += map[row][k] * terms[k];
    return XYZ<D50>::from(out);
}

std::array<bool, 3> CameraFit::at_end_of_scale(const CameraRgb& linear, const Vector3& taken_off) const {
    const Vector3 v = linear.vector();
    std::array<bool, 3> out{};
    for (std::size_t c = 0; c < 3; ++c) out[c] = v[c] + taken_off[c] <= darkest[c] || v[c] + taken_off[c] >= lightest[c];
    return out;
}

Matrix3 CameraFit::fit_covariance(const Lab<D50>& at) const {
    const std::array<Matrix3, 2> parts = fit_and_card(at);
    return parts[0] + parts[1];
}

std::array<Matrix3, 2> CameraFit::fit_and_card(const Lab<D50>& at) const {
    const Matrix3 back = inverse(Matrix3::diagonal(detail::lab_weight));
    const double by_trust = trust == Trust::measured   ? trust_measured
                            : trust == Trust::assigned ? trust_assigned
                                                       : trust_nominal;
    Matrix3 of_card = (by_trust * by_trust) * (back * back);
    if (glowing_white) of_card = of_card + (ultraviolet_unknown * ultraviolet_unknown) * outer(shift_without_ultraviolet(at, *glowing_white));
    if (spectral)
        return {(forecast_factor * forecast_factor) * spectral->threads.moment(at) +
                    (forecast_floor * forecast_floor) * Matrix3::identity(),
                of_card};
    // Second moment of the held-out errors in weighted Lab, the near ones weighing more.
    Matrix3 moment;
    double near_sum = 0, all = 0, nearest = 1e9;
    for (const bool only_near : {true, false})
        for (const PatchResult& p : patches) {
            if (!p.used) continue;
            const double apart = cie1976(p.reference, at);
            const double kernel = std::exp(-0.5 * apart * apart / (kernel_width * kernel_width));
            if (only_near) {
                near_sum += kernel;
                all += 1;
                nearest = std::min(nearest, apart);
                continue;
            }
            const double weight =
                (1 - kernel_share) * kernel / std::max(near_sum, 1e-12) + kernel_share / all;
            const Vector3 predicted = p.predicted.vector(), reference = p.reference.vector();
            Vector3 error{};
            for (std::size_t k = 0; k < 3; ++k)
                error[k] = detail::lab_weight[k] * (predicted[k] - reference[k]);
            moment = moment + weight * outer(error);
        }
    // A second moment of few vectors may be flat in some direction; half of it is spread evenly.
    const double even = (moment(0, 0) + moment(1, 1) + moment(2, 2)) / 3;
    moment = 0.5 * moment + (0.5 * even) * Matrix3::identity();
    const double outside = std::max(0.0, nearest - hull_reach) / hull_reach;
    const double widen = held_out_factor * (1 + outside);
    const double unseen = other_dyes * other_dyes * (1 + outside) * (1 + outside);
    const Matrix3 scaled = (widen * widen) * moment + unseen * Matrix3::identity();
    return {back * scaled * back, of_card};
}

CameraFit::Reckoned CameraFit::reckon_beyond_black(const CameraRgb& linear, const Vector3& taken_off) const {
    Vector3 response = linear.vector(), ends = darkest;
    std::array<bool, 3> ended{};
    for (std::size_t c = 0; c < 3; ++c) ended[c] = response[c] + taken_off[c] <= darkest[c];
    if (!spectral) return {linear, beyond, ended};
    for (std::size_t c = 0; c < 3; ++c) {
        response[c] *= spectral->gain[c];
        ends[c] = (darkest[c] - taken_off[c]) * spectral->gain[c];
    }
    Vector3 reckoned = linear.vector(), deviation = beyond;
    for (std::size_t c = 0; c < 3; ++c) {
        if (!ended[c]) continue;
        if (const auto hidden = spectral->threads.hidden(response, ended, ends, c)) {
            reckoned[c] = hidden->response / spectral->gain[c];
            deviation[c] = forecast_factor * hidden->deviation / spectral->gain[c];
        }
    }
    return {CameraRgb::from(reckoned), deviation, ended};
}

Matrix3 CameraFit::colour_by_response(const CameraRgb& linear) const {
    const auto slopes = detail::expand_slope(model, linear.vector());
    Matrix3 out;
    for (std::size_t row = 0; row < 3; ++row)
        for (std::size_t k = 0; k < slopes.size(); ++k)
            for (std::size_t c = 0; c < 3; ++c) out(row, c) += map[row][k] * slopes[k][c];
    return out;
}

Matrix3 CameraFit::lab_by_response(const CameraRgb& linear, const Vector3& taken_off) const {
    const CameraRgb at = reckon_beyond_black(linear, taken_off).linear;
    return lab_jacobian(to_xyz(at)) * colour_by_response(at);
}

XYZ<D50> CameraFit::best_colour(const CameraRgb& linear, const Vector3& taken_off) const {
    return to_xyz(reckon_beyond_black(linear, taken_off).linear);
}

CovarianceParts CameraFit::covariance_parts(const CameraRgb& seen, const Matrix3& covariance_of_mean, const Vector3& taken_off) const {
    const auto [linear, beyond_black, ended] = reckon_beyond_black(seen, taken_off);
    const XYZ<D50> colour = to_xyz(linear);
    const Matrix3 by_colour = lab_jacobian(colour), by_response = colour_by_response(linear), jacobian = by_colour * by_response;
    Matrix3 of_response = jacobian * covariance_of_mean * transpose(jacobian);
    const std::array<bool, 3> at_end = at_end_of_scale(seen, taken_off);
    for (std::size_t c = 0; c < 3; ++c) {
        if (!at_end[c]) continue;
        Vector3 way;
        if (ended[c]) {
            // Below zero roots are gone: the straight terms alone tell what lies there, as far as there is light left.
            double reach = 1;
            for (std::size_t row = 0; row < 3; ++row) {
                way[row] = -beyond_black[c] * map[row][c];
                const double left = std::max(colour.vector()[row], least_light);
                if (way[row] < 0) reach = std::min(reach, left / -way[row]);
            }
            for (double& v : way) v *= reach;
        } else {
            for (std::size_t row = 0; row < 3; ++row) way[row] = beyond[c] * by_response(row, c);
        }
        of_response = of_response + outer(by_colour * way);
    }
    const auto [of_fit, of_card] = fit_and_card(to_lab(colour));
    const Matrix3 of_field =
        outer(by_colour * Vector3{shading * colour.X, shading * colour.Y, shading * colour.Z});
    return {of_response, of_fit, of_card, of_field};
}

Reading CameraFit::read(const CameraRgb& linear, const Matrix3& covariance_of_mean, const Vector3& taken_off) const {
    const CovarianceParts parts = covariance_parts(linear, covariance_of_mean, taken_off);
    // Sums in another order on each side of the diagonal.
    const auto even = [](const Matrix3& m) { return 0.5 * (m + transpose(m)); };
    return {to_lab(best_colour(linear, taken_off)), even(parts.sum()), context, even(parts.fit + parts.card)};
}

Result<CameraFit> fit_camera(std::span<const PatchSample> samples, const FitOptions& options) {
    if (samples.size() > most_patches)
        return bad_value("A card of " + std::to_string(samples.size()) + " patches is beyond the limit of " +
                             std::to_string(most_patches) + ".",
                         "", "Give the means of the patches, not their pixels.");
    for (std::size_t i = 0; i < samples.size(); ++i)
        if (const Status status = check(samples[i], i, options); !status) return status.error();

    CameraFit fit;
    fit.trust = options.trust;
    fit.context = options.context;
    fit.glowing_white = glowing_white(greys_of(samples));
    std::vector<bool> taking_part(samples.size());
    std::vector<double> grey_steps;
    std::size_t usable = 0;
    bool placed = true;
    CardPoint low{1e9, 1e9}, high{-1e9, -1e9};
    for (std::size_t i = 0; i < samples.size(); ++i) {
        const PatchSample& s = samples[i];
        PatchResult& result = fit.patches.emplace_back();
        result.id = s.id;
        result.role = s.role;
        result.reference = s.reference;
        if (s.role == PatchRole::check) continue;
        // A trap may be as dark as the file can say: that is what it is for.
        const std::array<End, 3> ends = ends_of(s, options);
        const bool full = std::find(ends.begin(), ends.end(), End::high) != ends.end();
        if (s.role == PatchRole::trap ? full || (s.clipped && tells_nothing(s, ends))
                                      : tells_nothing(s, ends)) {
            result.dropped = "clipped";
            continue;
        }
        taking_part[i] = true;
        if (s.role == PatchRole::trap) continue;
        const bool whole = ends == std::array<End, 3>{};
        usable += whole;
        if (s.role == PatchRole::grey && whole &&
            std::none_of(grey_steps.begin(), grey_steps.end(),
                         [&](double L) { return std::abs(L - s.reference.L) < same_step; }))
            grey_steps.push_back(s.reference.L);
        placed = placed && s.place.has_value();
        if (s.place) {
            low = {std::min(low.x_mm, s.place->x_mm), std::min(low.y_mm, s.place->y_mm)};
            high = {std::max(high.x_mm, s.place->x_mm), std::max(high.y_mm, s.place->y_mm)};
        }
    }
    if (usable < fewest_patches)
        return Error{Reason::too_few,
                     "Only " + std::to_string(usable) + " patches can be used; the fit needs " +
                         std::to_string(fewest_patches) + ".",
                     "", "Expose so that no patch is clipped, and show the whole card."};
    if (!options.linear && grey_steps.size() < fewest_grey_steps)
        return Error{Reason::too_few,
                     "Only " + std::to_string(grey_steps.size()) +
                         " grey steps can be used; the tone curve needs " +
                         std::to_string(fewest_grey_steps) + ".",
                     "", "Expose so that the white is not clipped, or give linear values."};

    LightField frame;
    const bool with_field = placed && usable >= fewest_for_field;
    if (with_field) {
        frame.centre = {(low.x_mm + high.x_mm) / 2, (low.y_mm + high.y_mm) / 2};
        frame.half_size = {(high.x_mm - low.x_mm) / 2, (high.y_mm - low.y_mm) / 2};
    }

    const ToneCurve start = options.linear ? ToneCurve() : ToneCurve::srgb();
    JointData data = gather(samples, taking_part, frame, options);
    data.gain = gain_of(samples, data, start);
    const Error dark{Reason::cannot_measure, "The card shows no light in some channel.", "",
                     "Check that the photo shows the card and that the table's columns are in order."};
    for (const double g : data.gain)
        if (!(g > 0) || !std::isfinite(g)) return dark;

    std::optional<JointFit> joint = select(data, options, with_field);
    const Error unsound{
        Reason::cannot_measure, "The patches do not determine the camera.", "",
        "Check that the patches lie where the layout says and that the card is the right one."};
    const auto most_dropped = static_cast<std::size_t>(outlier_share * static_cast<double>(data.patches.size()));
    std::size_t dropped = 0;
    std::vector<Lab<D50>> held_out;
    for (bool settled = false; !settled;) {
        if (!joint->sound()) return unsound;
        held_out = joint->held_out();
        std::vector<double> errors, whole;
        for (std::size_t i = 0; i < held_out.size(); ++i) {
            const double error = ciede2000(data.patches[i].reference, held_out[i]);
            errors.push_back(data.patches[i].censored() ? 0 : std::isfinite(error) ? error : 1e3);
            if (!data.patches[i].censored()) whole.push_back(errors.back());
        }
        const auto worst =
            static_cast<std::size_t>(std::max_element(errors.begin(), errors.end()) - errors.begin());
        settled = true;
        const auto drop = [&](std::size_t source, const std::string& why) {
            taking_part[source] = false;
            fit.patches[source].dropped = why;
            settled = false;
        };
        if (dropped < most_dropped && usable - dropped > fewest_patches &&
            errors[worst] > std::max(outlier_times * quantile(whole, 0.5), outlier_least) &&
            !twin_agrees(data, held_out, worst)) {
            ++dropped;
            drop(data.patches[worst].source,
                 "reads " + number(errors[worst]) +
                     " away from what the other patches say: glare, dirt or shadow");
        }
        const std::vector<bool> doubtful = joint->doubtful_traps();
        for (std::size_t i = 0; i < doubtful.size(); ++i)
            if (doubtful[i])
                drop(data.traps[i].source,
                     "does not read as a black trap: something lights it, or it is flat ink");
        if (!settled) {
            const Vector3 gain = data.gain;
            data = gather(samples, taking_part, frame, options);
            data.gain = gain;
            joint = select(data, options, with_field);
        }
    }
    joint->export_to(fit, frame);
    if (options.prior && !options.model && options.trust != Trust::nominal) {
        if (const Status status = validate(*options.prior); !status) return status.error();
        if (std::optional<CameraFit> spectral = spectral_fit(fit, samples, data, *options.prior, held_out, options.linear))
            fit = std::move(*spectral);
    }
    set_ends(fit, samples, options);

    fit.prints_disagree = disagreement_of_prints(samples, data, held_out);

    const std::vector<Lab<D50>>& seen = held_out;
    std::vector<double> errors, check_errors;
    for (std::size_t i = 0; i < samples.size(); ++i) {
        const PatchSample& s = samples[i];
        fit.patches[i].predicted = to_lab(fit.best_colour(CameraRgb::from(fit.undo(s.rgb, s.place))));
    }
    for (std::size_t i = 0; i < data.patches.size(); ++i) {
        fit.patches[data.patches[i].source].predicted = seen[i];
        fit.patches[data.patches[i].source].used = !data.patches[i].censored();
    }
    for (PatchResult& p : fit.patches) {
        p.delta_e = ciede2000(p.reference, p.predicted);
        if (!std::isfinite(p.delta_e)) return unsound;
        if (p.used) errors.push_back(p.delta_e);
    }
    leave_out_covered_checks(fit, samples);
    for (const PatchResult& p : fit.patches)
        if (p.role == PatchRole::check && p.dropped.empty()) check_errors.push_back(p.delta_e);
    fit.held_out_median = quantile(errors, 0.5);
    fit.held_out_p95 = quantile(errors, 0.95);
    fit.check_median = check_errors.empty() ? -1 : quantile(check_errors, 0.5);
    fit.check_max = check_errors.empty() ? -1 : quantile(check_errors, 1);
    if (fit.held_out_median > greatest_median)
        return Error{Reason::cannot_measure,
                     "The patches do not fit the card: half of them err by more than " +
                         number(fit.held_out_median) + " CIEDE2000.",
                     "",
                     "Check that the card is the right one, lit evenly, and that its values are its own."};
    return fit;
}

std::string_view name(ColourModel model) {
    return model == ColourModel::matrix            ? "3x3"
           : model == ColourModel::root_polynomial ? "root-polynomial 2"
                                                   : "root-polynomial 3";
}

std::string_view name(LightGrade grade) {
    return grade == LightGrade::good ? "good" : grade == LightGrade::fair ? "fair" : "poor";
}

CameraRgb CameraFit::response_to(const XYZ<D50>& colour) const {
    Vector3 v{0.5, 0.5, 0.5};
    const Vector3 aim = colour.vector();
    for (int round = 0; round < 40; ++round) {
        const Vector3 here = to_xyz(CameraRgb::from(v)).vector();
        Matrix3 slope;
        for (std::size_t k = 0; k < 3; ++k) {
            Vector3 moved = v;
            const double h = 1e-4 * std::max(v[k], 1e-2);
            moved[k] += h;
            const Vector3 there = to_xyz(CameraRgb::from(moved)).vector();
            for (std::size_t i = 0; i < 3; ++i) slope(i, k) = (there[i] - here[i]) / h;
        }
        if (!(std::abs(determinant(slope)) > 1e-12)) break;
        const Vector3 step = inverse(slope) * Vector3{aim[0] - here[0], aim[1] - here[1], aim[2] - here[2]};
        for (std::size_t k = 0; k < 3; ++k)
            v[k] = std::max(1e-6, v[k] + std::clamp(step[k], -0.5 * v[k], 2.0 * v[k]));
        if (std::abs(step[0]) + std::abs(step[1]) + std::abs(step[2]) < 1e-10) break;
    }
    return CameraRgb::from(v);
}

}  // namespace bindhue

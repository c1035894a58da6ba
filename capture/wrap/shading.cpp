#include "wrap/shading.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <span>

#include "colour/quantile.hpp"

namespace bindhue::capture {
namespace {

constexpr double window_mm = 3.0;      // beside an edge: near enough for the mirror image to be the same
// Of the largest step, a share of white, so that S is told. Between bands far apart, with film between them, the light alone may differ by more.
constexpr double least_told = 0.02, least_told_over_film = 0.08;

struct ShadingPrior {
    Vector3 mean, deviation;
};
// One light alone adds a slope of up to 1.
constexpr ShadingPrior wide_prior{Shading{}.p, {0.7, 0.4, 0.25}};

// What a row counts for. Absolute residuals first, whose least sum can be reached from any start; then Tukey's biweight, which
// forgets what a streak has spoiled.
enum class Loss { absolute, biweight };
double weight(double residual, double deviation, Loss loss) {
    const double u = std::abs(residual) / deviation, information = 1 / (deviation * deviation);
    if (loss == Loss::absolute) return information / std::max(1.0, u);
    const double v = u / 4.5;
    return v < 1 ? information * (1 - v * v) * (1 - v * v) : 0.0;
}

// Size and error of a step, given S.
void measure(Contrast& step, std::span<const double> theta, const Shading& s, Loss loss) {
    std::vector<double> ratios;
    for (std::size_t i = 0; i < theta.size(); ++i)
        if (std::isfinite(step.deviation[i])) ratios.push_back(step.value[i] / s(theta[i]));
    if (ratios.empty()) return;
    if (step.size == 0) step.size = median(std::move(ratios));
    for (int round = 0; round < 3; ++round) {
        double top = 0, bottom = 0, squares = 0;
        for (std::size_t i = 0; i < theta.size(); ++i) {
            if (!std::isfinite(step.deviation[i])) continue;
            const double shade = s(theta[i]), left = step.value[i] - step.size * shade,
                         w = weight(left, step.deviation[i], loss);
            top += w * step.value[i] * shade;
            bottom += w * shade * shade;
            squares += w * left * left;
        }
        if (!(bottom > 0)) return;
        step.size = top / bottom;
        // Residuals round the rod are smooth and do not average out: five independent ones over the strip.
        step.error = std::sqrt((squares + 1) / bottom / 5.0);
    }
}

Shading fit_one(std::span<const double> theta, const std::vector<Contrast*>& contrasts, const ShadingPrior& prior) {
    Shading s{prior.mean};
    for (int round = 0; round < 24; ++round) {
        const Loss loss = round < 12 ? Loss::absolute : Loss::biweight;
        Matrix3 normal = Matrix3::diagonal({1 / (prior.deviation[0] * prior.deviation[0]),
                                            1 / (prior.deviation[1] * prior.deviation[1]),
                                            1 / (prior.deviation[2] * prior.deviation[2])});
        Vector3 right = normal * prior.mean;
        for (Contrast* d : contrasts) {
            measure(*d, theta, s, loss);
            // D - c = c (p1 t + p2 t^2 + p3 t^3)
            for (std::size_t i = 0; i < theta.size(); ++i) {
                if (!std::isfinite(d->deviation[i])) continue;
                const double t = theta[i], c = d->size;
                // Rows are tied: as many independent ones as the skin has degrees, about.
                const double w = 0.5 * weight(d->value[i] - c * s(t), d->deviation[i], loss);
                const Vector3 row{c * t, c * t * t, c * t * t * t};
                for (std::size_t a = 0; a < 3; ++a) {
                    right[a] += w * row[a] * (d->value[i] - c);
                    for (std::size_t b = 0; b < 3; ++b) normal(a, b) += w * row[a] * row[b];
                }
            }
        }
        s.p = inverse(normal) * right;
    }
    return s;
}

}  // namespace

Profile profile_of(const Skin& skin, double begin_mm, double end_mm) {
    const std::size_t first = std::min(skin.column_at(begin_mm), skin.columns - 1),
                      last = std::max(first + 1, skin.column_at(end_mm));
    Profile out;
    for (std::size_t r = 0; r < skin.theta.size(); ++r) {
        Vector3 sum{}, squares{};
        double n = 0;
        for (std::size_t c = first; c < last; ++c) {
            const Vector3& v = skin.at(r, c);
            if (!std::isfinite(v[0])) continue;
            for (std::size_t k = 0; k < 3; ++k) {
                sum[k] += v[k];
                squares[k] += v[k] * v[k];
            }
            n += 1;
        }
        Vector3 mean{}, error{};
        for (std::size_t k = 0; k < 3; ++k) {
            mean[k] = n > 0 ? sum[k] / n : std::numeric_limits<double>::quiet_NaN();
            const double variance =
                n > 1 ? std::max(0.0, squares[k] / n - mean[k] * mean[k]) : mean[k] * mean[k];
            error[k] = variance * 9.0 / std::max(n, 1.0) +
                       1e-12;  // neighbours are tied by demosaicing, JPEG and blur
        }
        out.mean.push_back(mean);
        out.error_squared.push_back(error);
    }
    return out;
}

Pair step_between(const Skin& skin, const std::vector<Segment>& segments, std::size_t first,
                  std::size_t second, const Vector3& white) {
    const Segment &before = segments[first], &after = segments[second];
    const auto span = [](const Segment& s) {
        const double margin = margin_of(s);
        return std::pair{margin, std::min(window_mm + margin, s.length_mm() - margin)};
    };
    const auto [near_before, far_before] = span(before);
    const auto [near_after, far_after] = span(after);
    const Profile left = profile_of(skin, before.end_mm - far_before, before.end_mm - near_before);
    const Profile right = profile_of(skin, after.begin_mm + near_after, after.begin_mm + far_after);
    Pair out{first, second, false, true, after.begin_mm - before.end_mm, {}};
    for (std::size_t k = 0; k < 3; ++k) {
        Contrast& d = out.step[k];
        for (std::size_t r = 0; r < skin.theta.size(); ++r) {
            const double value = right.mean[r][k] - left.mean[r][k];
            // What the model leaves out: bounced light, gloss that differs over a few millimetres.
            const double model = 0.01 * std::abs(value) + 0.0008 * white[k] +
                                 0.03 * std::min(left.mean[r][k], right.mean[r][k]);
            const bool use = std::abs(skin.theta[r]) <= shading_reach && std::isfinite(value);
            d.value.push_back(use ? value : 0.0);
            d.deviation.push_back(
                use ? std::sqrt(left.error_squared[r][k] + right.error_squared[r][k] + model * model)
                    : std::numeric_limits<double>::infinity());
        }
    }
    return out;
}

RodShading fit_shading(const std::vector<double>& theta, std::vector<Pair>& pairs, const Vector3& white) {
    RodShading out;
    for (Pair& pair : pairs)
        for (std::size_t k = 0; k < 3; ++k) measure(pair.step[k], theta, out.by_channel[k], Loss::absolute);
    const bool film = !std::ranges::all_of(pairs, &Pair::matt);
    const auto try_steps = [&](bool matt_only) {
        std::array<std::vector<Contrast*>, 3> steps;
        std::vector<Contrast*> all;
        double strongest = 0;
        for (Pair& pair : pairs)
            for (std::size_t k = 0; k < 3 && (pair.matt || !matt_only); ++k) {
                strongest = std::max(strongest, std::abs(pair.step[k].size) / white[k]);
                steps[k].push_back(&pair.step[k]);
                all.push_back(&pair.step[k]);
            }
        out.told = strongest > (matt_only && film ? least_told_over_film : least_told);
        if (!out.told) return;
        const Shading common = fit_one(theta, all, wide_prior);
        for (std::size_t k = 0; k < 3; ++k) out.by_channel[k] = fit_one(theta, steps[k], {common.p, {0.15, 0.1, 0.08}});
    };
    try_steps(true);
    if (!out.told) try_steps(false);
    for (Pair& pair : pairs)
        for (std::size_t k = 0; k < 3 && !pair.matt; ++k) measure(pair.step[k], theta, out.by_channel[k], Loss::biweight);
    return out;
}

}  // namespace bindhue::capture

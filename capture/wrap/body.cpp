#include "wrap/body.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numeric>
#include <span>

namespace bindhue::capture {
namespace {

constexpr double degree = 0.017453292519943295;
constexpr double reach =
    40 * degree;  // round the rod, from the card's normal: further out, cast shadows begin
constexpr double dark_reach =
    30 * degree;  // where the mirror image's darkest place is looked for, from facing the camera
constexpr double body_reach = 25 * degree;  // where a band's difference from the darkest is read
constexpr double edge_mm = 0.35;            // of a band, left out: blur and the coat's slope
// What a dark surrounding still sends into the mirror: 4 % (Fresnel, n = 1.5) of a reflectance of about 3 %,
// from memory of black plastic; its uncertainty is as large as itself.
constexpr double dark_mirror = 0.0012;
constexpr double shading_error = 0.015;      // relative, of S after the fit
constexpr double lone_shading_error = 0.05;  // where no second colour tells S

// Profiles of one segment round the rod: mean and squared standard error, per row of the skin.
struct Profile {
    std::vector<Vector3> mean, error_squared;
    double weight = 0;  // columns
};

Profile profile_of(const Skin& skin, const Segment& segment) {
    const double margin = std::min(edge_mm, 0.25 * segment.length_mm());
    const auto column = [&](double s) {
        return static_cast<std::size_t>(
            std::clamp((s - skin.s_begin) / skin.ds + 0.5, 0.0, static_cast<double>(skin.columns)));
    };
    const std::size_t first = column(segment.begin_mm + margin),
                      last = std::max(first + 1, column(segment.end_mm - margin));
    Profile out;
    out.weight = static_cast<double>(last - first);
    for (std::size_t r = 0; r < skin.theta.size(); ++r) {
        Vector3 sum{}, squares{};
        double n = 0;
        for (std::size_t c = first; c < std::min(last, skin.columns); ++c) {
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

// S(theta) = 1 + p1 t + p2 t^2 + p3 t^3, t = theta.
struct Shading {
    Vector3 p{};

    double operator()(double t) const { return 1.0 + t * (p[0] + t * (p[1] + t * p[2])); }
};

struct ShadingPrior {
    Vector3 mean, deviation;
};
// Two lights at +-45 degrees shade as cos(theta); one alone adds a slope of up to 1.
constexpr ShadingPrior wide_prior{{0, -0.5, 0}, {0.7, 0.4, 0.25}};

// Fits S to contrasts D_j(theta) = c_j S(theta) + noise, the c_j unknown. One contrast a (segment, channel).
struct Contrast {
    std::vector<double> value, weight;  // per row; weight 0: not to be used
};
Shading fit_shading(std::span<const double> theta, const std::vector<Contrast>& contrasts,
                    const ShadingPrior& prior) {
    Shading s{prior.mean};
    for (int round = 0; round < 12; ++round) {
        Matrix3 normal = Matrix3::diagonal({1 / (prior.deviation[0] * prior.deviation[0]),
                                            1 / (prior.deviation[1] * prior.deviation[1]),
                                            1 / (prior.deviation[2] * prior.deviation[2])});
        Vector3 right = normal * prior.mean;
        for (const Contrast& d : contrasts) {
            double top = 0, bottom = 0;
            for (std::size_t i = 0; i < theta.size(); ++i) {
                top += d.weight[i] * d.value[i] * s(theta[i]);
                bottom += d.weight[i] * s(theta[i]) * s(theta[i]);
            }
            if (!(bottom > 0)) continue;
            const double c = top / bottom;
            // D - c = c (p1 t + p2 t^2 + p3 t^3)
            for (std::size_t i = 0; i < theta.size(); ++i) {
                const double t = theta[i];
                const Vector3 row{c * t, c * t * t, c * t * t * t};
                for (std::size_t a = 0; a < 3; ++a) {
                    right[a] += d.weight[i] * row[a] * (d.value[i] - c);
                    for (std::size_t b = 0; b < 3; ++b) normal(a, b) += d.weight[i] * row[a] * row[b];
                }
            }
        }
        s.p = inverse(normal) * right;
    }
    return s;
}

double lightness(const Vector3& v) { return v[0] + v[1] + v[2]; }

struct Separation {
    std::array<Shading, 3> shading;
    std::array<std::vector<double>, 3> mirror;  // per row, at least dark_mirror
    bool told = false;                          // by a second colour; else assumed
};

// The bands' mirror images are the same, so contrasts between bands hold none.
Separation separate(const Skin& skin, const std::vector<Profile>& profiles,
                    const std::vector<std::size_t>& order, const Vector3& white, double facing_theta) {
    Separation out;
    const std::size_t rows = skin.theta.size(), darkest = order.front();
    std::array<std::vector<Contrast>, 3> contrasts;
    double strongest = 0;
    for (std::size_t k = 0; k < 3; ++k)
        for (const std::size_t j : order) {
            if (j == darkest) continue;
            Contrast d{std::vector<double>(rows), std::vector<double>(rows, 0)};
            double mean = 0, n = 0;
            for (std::size_t r = 0; r < rows; ++r) {
                if (std::abs(skin.theta[r]) > reach) continue;
                d.value[r] = profiles[j].mean[r][k] - profiles[darkest].mean[r][k];
                if (!std::isfinite(d.value[r])) continue;
                // A floor of 1.5 % of the value: what the model leaves out (bounced light, uneven gloss along
                // the rod).
                const double model = 0.015 * d.value[r];
                d.weight[r] = 1.0 / (profiles[j].error_squared[r][k] + profiles[darkest].error_squared[r][k] +
                                     model * model);
                mean += d.value[r];
                n += 1;
            }
            strongest = std::max(strongest, std::abs(mean / std::max(n, 1.0)) / white[k]);
            contrasts[k].push_back(std::move(d));
        }
    out.told = strongest > 0.02;
    if (out.told) {
        std::vector<Contrast> all;
        for (const auto& channel : contrasts) all.insert(all.end(), channel.begin(), channel.end());
        const Shading common = fit_shading(skin.theta, all, wide_prior);
        // Unlike lights shade unlike channels a little differently.
        for (std::size_t k = 0; k < 3; ++k)
            out.shading[k] = fit_shading(skin.theta, contrasts[k], {common.p, {0.15, 0.1, 0.08}});
    } else {
        out.shading.fill(Shading{wide_prior.mean});
    }
    for (std::size_t k = 0; k < 3; ++k) {
        const double window = out.told ? dark_reach : 12 * degree;
        std::vector<double> candidates;
        for (std::size_t r = 0; r < rows; ++r) {
            const double value = profiles[darkest].mean[r][k] / out.shading[k](skin.theta[r]);
            if (std::abs(skin.theta[r] - facing_theta) <= window && std::isfinite(value))
                candidates.push_back(value);
        }
        std::sort(candidates.begin(), candidates.end());
        // The lowest tenth, not the least: the least of many noisy values is too low.
        const std::size_t tenth = std::max<std::size_t>(1, candidates.size() / 10);
        const double least =
            candidates.empty()
                ? 0.0
                : std::accumulate(candidates.begin(), candidates.begin() + static_cast<std::ptrdiff_t>(tenth),
                                  0.0) /
                      static_cast<double>(tenth);
        const double darkest_body = std::max(least - dark_mirror * white[k], 0.1 * least);
        for (std::size_t r = 0; r < rows; ++r)
            out.mirror[k].push_back(
                std::max(0.0, profiles[darkest].mean[r][k] - darkest_body * out.shading[k](skin.theta[r])));
    }
    return out;
}

}  // namespace

std::vector<BodyColour> body_colours(const Skin& skin, const std::vector<Segment>& segments,
                                     const CameraFit& fit, double facing_theta) {
    std::vector<Profile> profiles;
    for (const Segment& s : segments) profiles.push_back(profile_of(skin, s));
    if (profiles.empty()) return {};
    const Vector3 white = fit.response_to(XYZ<D50>::white()).vector();

    std::vector<double> level;
    for (const Profile& p : profiles) {
        double sum = 0, n = 0;
        for (std::size_t r = 0; r < skin.theta.size(); ++r)
            if (std::abs(skin.theta[r] - facing_theta) < 15 * degree && std::isfinite(p.mean[r][0])) {
                sum += lightness({p.mean[r][0] / white[0], p.mean[r][1] / white[1], p.mean[r][2] / white[2]});
                n += 1;
            }
        level.push_back(n > 0 ? sum / n : std::numeric_limits<double>::infinity());
    }
    // A narrow trim's profile is noisy: it may be the darkest only where nothing longer is nearly as dark.
    std::vector<std::size_t> order(profiles.size());
    std::iota(order.begin(), order.end(), std::size_t{0});
    const auto cost = [&](std::size_t j) {
        return level[j] + (profiles[j].weight * skin.ds < 2.0 ? 0.05 : 0.0);
    };
    std::sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) { return cost(a) < cost(b); });
    const Separation parts = separate(skin, profiles, order, white, facing_theta);

    std::vector<BodyColour> out;
    for (const Profile& p : profiles) {
        BodyColour body;
        Vector3 colour{}, noise{};
        for (std::size_t k = 0; k < 3; ++k) {
            double top = 0, bottom = 0, squares = 0, n = 0;
            for (std::size_t r = 0; r < skin.theta.size(); ++r) {
                const double s = parts.shading[k](skin.theta[r]);
                if (std::abs(skin.theta[r]) > body_reach || !std::isfinite(p.mean[r][k]) || s < 0.2) continue;
                // A strong mirror image drowns the body's light and varies along the rod more than a weak
                // one.
                const double mirrored = parts.mirror[k][r], doubt = 0.1 * mirrored + 0.002 * white[k];
                const double w = 1.0 / (p.error_squared[r][k] + doubt * doubt);
                top += w * s * (p.mean[r][k] - mirrored);
                bottom += w * s * s;
            }
            colour[k] = bottom > 0 ? std::max(top / bottom, 1e-6) : std::numeric_limits<double>::quiet_NaN();
            for (std::size_t r = 0; r < skin.theta.size(); ++r) {
                if (std::abs(skin.theta[r]) > body_reach || !std::isfinite(p.mean[r][k])) continue;
                const double left =
                    p.mean[r][k] - parts.mirror[k][r] - colour[k] * parts.shading[k](skin.theta[r]);
                squares += left * left;
                n += 1;
            }
            // Residuals round the rod are smooth, so they do not average out: five independent ones over the
            // strip.
            noise[k] = n > 0 ? squares / n / 5.0 : 0.0;
        }
        body.linear = CameraRgb::from(colour);
        const double shade = parts.told ? shading_error : lone_shading_error;
        for (std::size_t i = 0; i < 3; ++i)
            for (std::size_t j = 0; j < 3; ++j)
                // Shading scales all channels alike; what the dark side still mirrors is grey: both are
                // common to the channels.
                body.covariance(i, j) = shade * shade * colour[i] * colour[j] +
                                        dark_mirror * dark_mirror * white[i] * white[j] +
                                        (i == j ? noise[i] : 0.0);
        if (!parts.told)
            body.warnings.push_back(
                "only one colour on the rod: its gloss could not be told from its body colour by comparison");
        out.push_back(std::move(body));
    }
    return out;
}

}  // namespace bindhue::capture

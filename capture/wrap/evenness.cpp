#include "wrap/evenness.hpp"

#include <algorithm>
#include <cmath>

#include "colour/difference.hpp"

namespace bindhue::capture {
namespace {

constexpr double shortest_mm = 6.0, stretch_mm = 1.5, end_mm = 1.0;  // the ends have the coat's rounded shoulders
constexpr double reach_theta = 0.9;
// How much the mirror image of a room may change along a band where little is mirrored, as a share of white. Tuned on rendered photos.
constexpr double mirror_change = 0.004;

struct Stretches {
    std::vector<std::size_t> rows;                  // of the skin, the darkest first
    std::vector<std::vector<Vector3>> mean;         // by stretch, by row of `rows`
};

double light_of(const Vector3& v) { return v[0] + v[1] + v[2]; }

std::optional<Stretches> stretches_of(const Skin& skin, const Segment& segment, double facing_theta) {
    const double length = segment.length_mm() - 2 * end_mm;
    const auto count = static_cast<std::size_t>(length / stretch_mm);
    std::vector<std::size_t> rows;
    for (std::size_t r = 0; r < skin.theta.size(); ++r)
        if (std::abs(skin.theta[r] - facing_theta) < reach_theta) rows.push_back(r);
    if (rows.size() < 4) return {};
    std::vector<std::vector<Vector3>> sums(count, std::vector<Vector3>(rows.size()));
    std::vector<std::size_t> columns(count, 0);
    for (std::size_t c = 0; c < skin.columns; ++c) {
        const double s = skin.s_of(c) - segment.begin_mm - end_mm;
        if (s < 0 || s >= length) continue;
        const std::size_t k = std::min(count - 1, static_cast<std::size_t>(s / length * static_cast<double>(count)));
        ++columns[k];
        for (std::size_t i = 0; i < rows.size(); ++i)
            for (std::size_t ch = 0; ch < 3; ++ch) sums[k][i][ch] += skin.at(rows[i], c)[ch];
    }
    std::vector<std::pair<double, std::size_t>> order;
    for (std::size_t i = 0; i < rows.size(); ++i) {
        double light = 0;
        for (std::size_t k = 0; k < count; ++k) light += light_of(sums[k][i]);
        if (!std::isfinite(light) || light <= 0) return {};
        order.emplace_back(light, i);
    }
    std::sort(order.begin(), order.end());
    order.resize(std::max<std::size_t>(4, order.size() / 2));
    Stretches out;
    for (const auto& [unused, i] : order) out.rows.push_back(rows[i]);
    for (std::size_t k = 0; k < count; ++k) {
        if (columns[k] == 0) return {};
        out.mean.emplace_back();
        for (const auto& [unused, i] : order) {
            Vector3 v = sums[k][i];
            for (double& x : v) x /= static_cast<double>(columns[k]);
            out.mean.back().push_back(v);
        }
    }
    return out;
}

// Each stretch against all, by the rows from `first` on in twos.
std::vector<Vector3> against_all(const Stretches& s, std::size_t first) {
    std::vector<Vector3> out(s.mean.size(), Vector3{});
    Vector3 all{};
    for (std::size_t k = 0; k < s.mean.size(); ++k)
        for (std::size_t i = first; i < s.rows.size(); i += 2)
            for (std::size_t ch = 0; ch < 3; ++ch) out[k][ch] += s.mean[k][i][ch];
    for (const Vector3& v : out)
        for (std::size_t ch = 0; ch < 3; ++ch) all[ch] += v[ch] / static_cast<double>(out.size());
    for (Vector3& v : out)
        for (std::size_t ch = 0; ch < 3; ++ch) v[ch] /= all[ch];
    return out;
}

}  // namespace

std::optional<double> unevenness(const Skin& skin, const Segment& segment, const BodyColour& body,
                                 const CameraFit& fit, double facing_theta) {
    if (segment.length_mm() < shortest_mm) return {};
    const std::optional<Stretches> stretches = stretches_of(skin, segment, facing_theta);
    if (!stretches) return {};
    const std::vector<Vector3> one = against_all(*stretches, 0), other = against_all(*stretches, 1);
    const Vector3 linear = body.linear.vector(), white = fit.response_to(XYZ<D50>::white()).vector();
    const auto lab = [&](const Vector3& share, double added) {
        Vector3 v{};
        for (std::size_t ch = 0; ch < 3; ++ch) v[ch] = linear[ch] * share[ch] + added * white[ch];
        return to_lab(fit.to_xyz(CameraRgb::from(v)));
    };
    const Lab<D50> mean = lab({1, 1, 1}, 0);
    double spread = 0, noise = 0;
    for (std::size_t k = 0; k < one.size(); ++k) {
        Vector3 middle{};
        for (std::size_t ch = 0; ch < 3; ++ch) middle[ch] = (one[k][ch] + other[k][ch]) / 2;
        spread += std::pow(ciede2000(mean, lab(middle, 0)), 2);
        noise += std::pow(ciede2000(lab(one[k], 0), lab(other[k], 0)) / 2, 2);
    }
    const double n = static_cast<double>(one.size());
    const double mirror = ciede2000(mean, lab({1, 1, 1}, mirror_change));
    const double squared = (spread - noise) / n - mirror * mirror;
    return std::isfinite(squared) ? std::optional(std::sqrt(std::max(0.0, squared))) : std::nullopt;
}

}  // namespace bindhue::capture

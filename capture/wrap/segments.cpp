#include "wrap/segments.hpp"

#include <algorithm>
#include <cmath>

#include "colour/quantile.hpp"

namespace bindhue::capture {
namespace {

constexpr double column_mm = 0.1;
constexpr double shortest_mm = 0.75;
constexpr double strip_half_width =
    0.21;  // radians, 12 degrees; a streak wider than most of it is not seen past

using Track = std::vector<Vector3>;  // CIELAB along the rod, evenly spaced

double distance(const Vector3& a, const Vector3& b) {
    return std::sqrt((a[0] - b[0]) * (a[0] - b[0]) + (a[1] - b[1]) * (a[1] - b[1]) +
                     (a[2] - b[2]) * (a[2] - b[2]));
}

// The darker part of each place round the rod: a streak that the coat mirrors only adds light, and may come and go along the
// rod; the shading is the same for all places.
Track track_along(const Skin& skin, const CameraFit& fit, double facing_theta, double step_mm) {
    Track out;
    const double length = skin.ds * static_cast<double>(skin.columns);
    const auto bins = static_cast<std::size_t>(length / step_mm);
    std::vector<std::size_t> rows;
    for (std::size_t r = 0; r < skin.theta.size(); ++r)
        if (std::abs(skin.theta[r] - facing_theta) <= strip_half_width) rows.push_back(r);
    Vector3 last{};
    for (std::size_t bin = 0; bin < bins; ++bin) {
        const auto first = static_cast<std::size_t>(static_cast<double>(bin) * step_mm / skin.ds);
        const auto end = std::min(
            skin.columns,
            std::max(first + 1, static_cast<std::size_t>(static_cast<double>(bin + 1) * step_mm / skin.ds)));
        std::vector<Vector3> means;
        for (const std::size_t r : rows) {
            Vector3 sum{};
            double n = 0;
            for (std::size_t c = first; c < end; ++c) {
                const Vector3& v = skin.at(r, c);
                if (!std::isfinite(v[0])) continue;
                for (std::size_t k = 0; k < 3; ++k) sum[k] += v[k];
                n += 1;
            }
            if (n > 0) means.push_back({sum[0] / n, sum[1] / n, sum[2] / n});
        }
        if (!means.empty()) {
            const auto level = [](const Vector3& v) { return v[0] + v[1] + v[2]; };
            const auto keep =
                means.begin() + static_cast<std::ptrdiff_t>(std::max<std::size_t>(1, means.size() * 2 / 5));
            std::nth_element(means.begin(), keep - 1, means.end(),
                             [&](const Vector3& a, const Vector3& b) { return level(a) < level(b); });
            Vector3 mean{};
            for (auto m = means.begin(); m != keep; ++m)
                for (std::size_t k = 0; k < 3; ++k)
                    mean[k] += (*m)[k] / static_cast<double>(keep - means.begin());
            last = to_lab(fit.to_xyz(CameraRgb::from(mean))).vector();
        }
        out.push_back(last);
    }
    return out;
}

// Cumulative sums, so that a run's mean costs nothing.
class RunMeans {
  public:
    explicit RunMeans(const Track& track) : sums_(track.size() + 1) {
        for (std::size_t i = 0; i < track.size(); ++i)
            for (std::size_t k = 0; k < 3; ++k) sums_[i + 1][k] = sums_[i][k] + track[i][k];
    }
    Vector3 operator()(std::size_t begin, std::size_t end) const {
        Vector3 out;
        for (std::size_t k = 0; k < 3; ++k)
            out[k] = (sums_[end][k] - sums_[begin][k]) / static_cast<double>(end - begin);
        return out;
    }

  private:
    std::vector<Vector3> sums_;
};

double noise_variance(const Track& track) {
    std::vector<double> squares;
    for (std::size_t i = 1; i + 1 < track.size(); ++i) {
        double sum = 0;
        for (std::size_t k = 0; k < 3; ++k) {
            const double d = track[i][k] - 0.5 * (track[i - 1][k] + track[i + 1][k]);
            sum += d * d;
        }
        squares.push_back(sum / 1.5);
    }
    return median(std::move(squares)) / 0.79;  // the median of a chi-square with three degrees of freedom over three
}

// Places where the means of half a millimetre on either side differ most, each the steepest within its own reach.
std::vector<std::size_t> step_places(const RunMeans& mean, std::size_t n, double least) {
    constexpr std::size_t half = 5;
    std::vector<double> step(n + 1, 0.0);
    for (std::size_t i = half; i + half <= n; ++i) step[i] = distance(mean(i - half, i), mean(i, i + half));
    std::vector<std::size_t> out{0};
    for (std::size_t i = half; i + half <= n; ++i) {
        const auto first = step.begin() + static_cast<std::ptrdiff_t>(i - half + 1);
        const auto last = step.begin() + static_cast<std::ptrdiff_t>(i + half);
        // A plateau counts once, at its first sample.
        if (step[i] > least && step[i] >= *std::max_element(first, last) && step[i] > step[i - 1])
            out.push_back(i);
    }
    out.push_back(n);
    return out;
}

}  // namespace

std::vector<Segment> find_segments(const Skin& skin, const CameraFit& fit, double facing_theta) {
    const Track track = track_along(skin, fit, facing_theta, column_mm);
    if (track.size() < 12) return {};
    const RunMeans mean(track);
    const double begin_mm = skin.s_begin - skin.ds / 2;

    // Five standard errors of the difference of two means of five samples, in three channels.
    const double noise = 5 * std::sqrt(noise_variance(track) * 3 * 2 / 5);
    std::vector<std::size_t> edges = step_places(mean, track.size(), std::max(least_step, noise));

    // A run too short to be a band: between two like neighbours it is a gap between turns, or a hair; between unlike ones it is
    // part of one edge, which blur has drawn out.
    const auto drop_shortest = [&] {
        for (std::size_t i = 1; i + 2 < edges.size(); ++i) {
            if (static_cast<double>(edges[i + 1] - edges[i]) * column_mm >= shortest_mm) continue;
            const Vector3 before = mean(edges[i - 1], edges[i]), here = mean(edges[i], edges[i + 1]),
                          after = mean(edges[i + 1], edges[i + 2]);
            const auto at = edges.begin() + static_cast<std::ptrdiff_t>(i);
            if (distance(before, after) < 0.5 * (distance(before, here) + distance(here, after)) / 2) {
                edges.erase(at, at + 2);
            } else {
                *at = (edges[i] + edges[i + 1]) / 2;
                edges.erase(at + 1);
            }
            return true;
        }
        return false;
    };
    const auto merge_nearest = [&] {
        std::size_t nearest = 0;
        double least = least_step;
        for (std::size_t i = 1; i + 1 < edges.size(); ++i)
            if (const double d = distance(mean(edges[i - 1], edges[i]), mean(edges[i], edges[i + 1]));
                d < least) {
                least = d;
                nearest = i;
            }
        if (nearest == 0) return false;
        edges.erase(edges.begin() + static_cast<std::ptrdiff_t>(nearest));
        return true;
    };
    while (drop_shortest() || merge_nearest()) {
    }

    // Edges between samples: the place that leaves the same area on both sides.
    const double fine_mm = std::max(skin.ds, 0.03);
    const Track fine = track_along(skin, fit, facing_theta, fine_mm);
    std::vector<double> places{begin_mm};
    for (std::size_t i = 1; i + 1 < edges.size(); ++i) {
        const Vector3 before = mean(edges[i - 1], edges[i]), after = mean(edges[i], edges[i + 1]);
        const double norm = distance(before, after) * distance(before, after);
        const double coarse = static_cast<double>(edges[i]) * column_mm;
        const double room = 0.45 * column_mm *
                            static_cast<double>(std::min(edges[i] - edges[i - 1], edges[i + 1] - edges[i]));
        const double reach = std::min(0.6, room);
        const auto first = static_cast<std::size_t>(std::max(0.0, (coarse - reach) / fine_mm));
        const auto last = std::min(fine.size(), static_cast<std::size_t>((coarse + reach) / fine_mm));
        double still_before = 0;
        for (std::size_t f = first; f < last; ++f) {
            double t = 0;
            for (std::size_t k = 0; k < 3; ++k) t += (fine[f][k] - before[k]) * (after[k] - before[k]) / norm;
            still_before += 1.0 - std::clamp(t, -0.2, 1.2);
        }
        places.push_back(begin_mm + (static_cast<double>(first) + still_before) * fine_mm);
    }
    places.push_back(begin_mm + static_cast<double>(track.size()) * column_mm);

    std::vector<Segment> out;
    for (std::size_t i = 0; i + 1 < places.size(); ++i) out.push_back({places[i], places[i + 1]});
    return out;
}

}  // namespace bindhue::capture

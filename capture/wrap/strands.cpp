#include "wrap/strands.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include <opencv2/core.hpp>

namespace bindhue::capture {
namespace {

constexpr double strip_half_width = 0.6;  // radians: there must be some repeats of a thin thread round the rod
constexpr double edge_mm = 0.4;           // beside an edge, left out
constexpr double least_length_mm = 4.0, chunk_mm = 4.0, column_mm = 0.3;

// Bounds chosen on rendered threads of one and of two colours (tests/accuracy/README.md); apart: of the differences of channels, as shares of white.
constexpr double least_split = 0.58, least_share = 0.12, least_apart = 0.028, least_apart_of_own = 0.3, least_round = 0.35, least_in_run = 0.3, least_in_chunk = 0.1;

using Chroma = std::array<double, 2>;

struct Place {
    std::size_t index = 0;  // of the skin's values
    double s_mm = 0;
    Chroma chroma{};
    double along = 0;  // the axis on which the two colours lie
};

// Means of two groups on a line, from its ends on (Lloyd's method).
struct Split {
    double low = 0, high = 0, middle = 0, share_high = 0, between = 0;  // between: share of the variance that the groups explain
};

Split split_in_two(const std::vector<Place>& places) {
    Split out;
    double mean = 0, squares = 0;
    for (const Place& p : places) mean += p.along, squares += p.along * p.along;
    const auto n = static_cast<double>(places.size());
    mean /= n;
    const double variance = squares / n - mean * mean;
    out.middle = mean;
    double before = out.middle - 1;
    for (int round = 0; round < 30 && out.middle != before; ++round) {
        before = out.middle;
        double low = 0, high = 0, highs = 0;
        for (const Place& p : places)
            if (p.along > out.middle) {
                high += p.along;
                highs += 1;
            } else {
                low += p.along;
            }
        if (highs < 1 || highs > n - 1) return {};
        out.low = low / (n - highs);
        out.high = high / highs;
        out.share_high = highs / n;
        out.middle = (out.low + out.high) / 2;
    }
    out.between = variance > 0 ? out.share_high * (1 - out.share_high) * (out.high - out.low) * (out.high - out.low) / variance : 0;
    return out;
}

using Smooth = std::array<double, 6>;

// Takes the least-squares surface over `terms` off both chroma coordinates.
template <class Terms>
void remove_smooth(std::span<Place> places, Terms&& terms) {
    constexpr auto n = static_cast<int>(std::tuple_size_v<Smooth>);
    cv::Matx<double, n, n> normal = cv::Matx<double, n, n>::zeros();
    cv::Matx<double, n, 2> right = cv::Matx<double, n, 2>::zeros();
    for (const Place& p : places) {
        const Smooth f = terms(p);
        for (int i = 0; i < n; ++i) {
            for (int j = 0; j < n; ++j) normal(i, j) += f[static_cast<std::size_t>(i)] * f[static_cast<std::size_t>(j)];
            for (int k = 0; k < 2; ++k) right(i, k) += f[static_cast<std::size_t>(i)] * p.chroma[static_cast<std::size_t>(k)];
        }
    }
    for (int i = 0; i < n; ++i) normal(i, i) += 1e-6 * static_cast<double>(places.size());
    const cv::Matx<double, n, 2> found = normal.solve(right, cv::DECOMP_CHOLESKY);
    for (Place& p : places) {
        const Smooth f = terms(p);
        for (int i = 0; i < n; ++i)
            for (int k = 0; k < 2; ++k) p.chroma[static_cast<std::size_t>(k)] -= f[static_cast<std::size_t>(i)] * found(i, k);
    }
}

// How much the colour varies round the rod, from place to place along it: variance within narrow columns.
class RoundTheRod {
  public:
    RoundTheRod(double begin_mm, double end_mm)
        : begin_(begin_mm), count_(static_cast<std::size_t>((end_mm - begin_mm) / column_mm) + 1, 0.0), sum_(count_), squares_(count_) {}
    void add(const Place& p) {
        const std::size_t i = column(p.s_mm);
        count_[i] += 1;
        sum_[i] += p.along;
        squares_[i] += p.along * p.along;
    }
    // Mean over the columns between two places; 0 where there are none.
    double variance(double from_mm, double to_mm) const {
        double variance = 0, count = 0;
        for (std::size_t i = column(from_mm); i <= column(to_mm); ++i) {
            if (count_[i] < 3) continue;
            variance += squares_[i] - sum_[i] * sum_[i] / count_[i];
            count += count_[i];
        }
        return count > 0 ? variance / count : 0;
    }

  private:
    std::size_t column(double s_mm) const {
        return std::min(count_.size() - 1, static_cast<std::size_t>(std::max(0.0, s_mm - begin_) / column_mm));
    }
    double begin_;
    std::vector<double> count_, sum_, squares_;
};

}  // namespace

std::optional<TwoColours> two_colours(const Skin& skin, std::span<const Segment> runs, const Vector3& white, double facing_theta) {
    const double begin = runs.front().begin_mm + edge_mm, end = runs.back().end_mm - edge_mm;
    if (end - begin < least_length_mm) return std::nullopt;
    std::vector<Place> places;
    Chroma mean{};
    for (const Segment& run : runs) {
        const std::size_t first = places.size();
        const double from = std::max(begin, run.begin_mm), to = std::min(end, run.end_mm);
        const auto first_column = static_cast<std::size_t>(std::max(0.0, (from - skin.s_begin) / skin.ds));
        for (std::size_t r = 0; r < skin.theta.size(); ++r) {
            if (std::abs(skin.theta[r] - facing_theta) > strip_half_width) continue;
            for (std::size_t c = first_column; c < skin.columns && skin.s_of(c) < to; ++c) {
                const double s = skin.s_of(c);
                const Vector3& v = skin.at(r, c);
                if (s < from || !std::isfinite(v[0])) continue;
                Place p{r * skin.columns + c, s, {v[0] / white[0] - v[1] / white[1], v[2] / white[2] - v[1] / white[1]}, 0};
                for (std::size_t k = 0; k < 2; ++k) mean[k] += p.chroma[k];
                places.push_back(p);
            }
        }
        // Light that falls off round the rod and along it is a smooth surface; what is left alternates with the thread.
        remove_smooth(std::span(places).subspan(first), [&](const Place& p) {
            const double t = (skin.theta[p.index / skin.columns] - facing_theta) / strip_half_width,
                         s = (p.s_mm - run.begin_mm) / run.length_mm();
            return Smooth{1, t, t * t, t * t * t, s, s * t};
        });
    }
    if (places.size() < 200) return std::nullopt;
    for (double& m : mean) m /= static_cast<double>(places.size());

    // The axis of the largest spread.
    double xx = 0, xy = 0, yy = 0;
    for (const Place& p : places) {
        xx += p.chroma[0] * p.chroma[0];
        xy += p.chroma[0] * p.chroma[1];
        yy += p.chroma[1] * p.chroma[1];
    }
    const double turn = 0.5 * std::atan2(2 * xy, xx - yy);
    double variance = 0;
    for (Place& p : places) {
        p.along = p.chroma[0] * std::cos(turn) + p.chroma[1] * std::sin(turn);
        variance += p.along * p.along / static_cast<double>(places.size());
    }
    // Two groups explain no more than there is: most threads of one colour are told here.
    const double wanted = std::max(least_apart, least_apart_of_own * std::hypot(mean[0], mean[1]));
    if (variance < least_share * (1 - least_share) * wanted * wanted) return std::nullopt;
    const Split split = split_in_two(places);
    const double apart = split.high - split.low;
    if (!(split.between > least_split) || split.share_high < least_share || split.share_high > 1 - least_share ||
        apart < wanted)
        return std::nullopt;

    RoundTheRod round(begin, end);
    for (const Place& p : places) round.add(p);
    const double usual = round.variance(begin, end);
    if (usual < least_round * variance) return std::nullopt;
    for (const Segment& run : runs)
        if (round.variance(std::max(begin, run.begin_mm), std::min(end, run.end_mm)) < least_in_run * usual) return std::nullopt;
    for (double s = begin; s + chunk_mm <= end; s += chunk_mm / 2)
        if (round.variance(s, s + chunk_mm) < least_in_chunk * usual) return std::nullopt;

    // Blur has mixed most places, so that the two colours are better told from those beyond the groups' middles. Their shares are those whose mixture
    // the whole looks like: right for the mean even where blur leaves neither colour pure.
    TwoColours out;
    std::array<double, 2> sum{}, count{};
    for (const Place& p : places) {
        const bool low = p.along < split.low, high = p.along > split.high;
        out.mark.emplace_back(p.index, static_cast<std::uint8_t>(low ? 1 : high ? 2 : 3));
        if (!low && !high) continue;
        sum[high] += p.along;
        count[high] += 1;
    }
    const double least = sum[0] / count[0], most = sum[1] / count[1];
    out.share = -least / (most - least);
    return out;
}

void join_two_coloured(std::vector<Segment>& segments, const Skin& skin, const Vector3& white, double facing_theta) {
    for (std::size_t first = 0; first + 1 < segments.size(); ++first)
        for (std::size_t last = segments.size() - 1; last > first; --last) {
            if (!two_colours(skin, std::span(segments).subspan(first, last - first + 1), white, facing_theta)) continue;
            segments[first].end_mm = segments[last].end_mm;
            segments.erase(segments.begin() + static_cast<std::ptrdiff_t>(first + 1), segments.begin() + static_cast<std::ptrdiff_t>(last + 1));
            break;
        }
}

}  // namespace bindhue::capture

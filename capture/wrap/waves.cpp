#include "wrap/waves.hpp"

#include <algorithm>
#include <array>

#include <opencv2/core.hpp>

namespace bindhue::capture {
namespace {

using Complex = std::complex<double>;

constexpr double pi = std::numbers::pi;
constexpr double strip_half_width = 0.7;  // radians: there must be some repeats of a thin thread round the rod
constexpr double window_mm = 4.0;  // along the rod and round it: some repeats of a thread, over which a slanted stripe is nearly straight
constexpr double cell_mm = 0.1;    // finer than any stripe that is looked for
constexpr double frequency_step = 0.1;      // less than half of what a window tells apart
constexpr double least_left_by_blur = 0.1;  // of a wave's height: a finer one is not looked for

using Smooth = std::array<double, 6>;

// Takes the least-squares surface, cubic round the rod and linear along it, off each channel.
void remove_smooth(Face& face, const std::vector<bool>& seen) {
    constexpr auto n = static_cast<int>(std::tuple_size_v<Smooth>);
    const auto terms = [&](std::size_t i) {
        const double t = face.turned[i / face.columns] / strip_half_width,
                     s = static_cast<double>(i % face.columns) / static_cast<double>(face.columns);
        return Smooth{1, t, t * t, t * t * t, s, s * t};
    };
    cv::Matx<double, n, n> normal = cv::Matx<double, n, n>::zeros();
    cv::Matx<double, n, 3> right = cv::Matx<double, n, 3>::zeros();
    for (std::size_t i = 0; i < face.left.size(); ++i) {
        if (!seen[i]) continue;
        const Smooth f = terms(i);
        for (int a = 0; a < n; ++a) {
            for (int b = 0; b < n; ++b) normal(a, b) += f[static_cast<std::size_t>(a)] * f[static_cast<std::size_t>(b)];
            for (int k = 0; k < 3; ++k) right(a, k) += f[static_cast<std::size_t>(a)] * face.left[i][static_cast<std::size_t>(k)];
        }
    }
    for (int i = 0; i < n; ++i) normal(i, i) += 1e-6 * static_cast<double>(face.left.size());
    const cv::Matx<double, n, 3> found = normal.solve(right, cv::DECOMP_CHOLESKY);
    for (std::size_t i = 0; i < face.left.size(); ++i) {
        const Smooth f = terms(i);
        for (int a = 0; a < n && seen[i]; ++a)
            for (int k = 0; k < 3; ++k) face.left[i][static_cast<std::size_t>(k)] -= f[static_cast<std::size_t>(a)] * found(a, k);
    }
}

// Hann's window: sine squared.
std::vector<double> hann(std::size_t n) {
    std::vector<double> out;
    for (std::size_t i = 0; i < n; ++i) out.push_back(std::pow(std::sin(pi * static_cast<double>(i + 1) / static_cast<double>(n + 1)), 2));
    return out;
}

template <class T>
Complex sum(std::span<const Complex> wave, std::span<const T> values) {
    Complex out{};
    for (std::size_t i = 0; i < values.size(); ++i) out += wave[i] * values[i];
    return out;
}
// Half a window apart, the last at the end.
std::vector<std::size_t> starts(std::size_t all, std::size_t window) {
    std::vector<std::size_t> out;
    for (std::size_t i = 0; i + window < all; i += std::max<std::size_t>(1, window / 2)) out.push_back(i);
    out.push_back(all - window);
    return out;
}

}  // namespace

std::optional<Face> face_of(const Skin& skin, double begin_mm, double end_mm, const Vector3& white, double facing_theta, double radius_mm) {
    Face face;
    face.column_mm = skin.ds;
    face.first_column = static_cast<std::size_t>(std::max(0.0, std::ceil((begin_mm - skin.s_begin) / skin.ds)));
    const auto end = static_cast<std::size_t>(std::clamp((end_mm - skin.s_begin) / skin.ds + 1, 0.0, static_cast<double>(skin.columns)));
    if (end < face.first_column + fewest_cells) return std::nullopt;
    face.columns = end - face.first_column;
    std::vector<bool> seen;
    double count = 0;
    for (std::size_t r = 0; r < skin.theta.size(); ++r) {
        if (std::abs(skin.theta[r] - facing_theta) > strip_half_width) continue;
        if (face.rows == 0) face.first_row = r;
        face.rows += 1;
        face.turned.push_back(skin.theta[r] - facing_theta);
        for (std::size_t c = face.first_column; c < end; ++c) {
            const Vector3& v = skin.at(r, c);
            seen.push_back(std::isfinite(v[0]));
            face.left.emplace_back();
            if (!seen.back()) continue;
            for (std::size_t k = 0; k < 3; ++k) face.mean[k] += face.left.back()[k] = v[k] / white[k];
            count += 1;
        }
    }
    if (face.rows < fewest_cells || count < 200) return std::nullopt;
    face.row_mm = std::abs(skin.theta[1] - skin.theta[0]) * radius_mm;
    for (double& m : face.mean) m /= count;
    remove_smooth(face, seen);
    return face;
}

Cells cells_of(const Face& face) {
    const auto per_cell = [](double mm) { return std::max<std::size_t>(1, static_cast<std::size_t>(cell_mm / mm)); };
    const std::size_t high = per_cell(face.row_mm), wide = per_cell(face.column_mm);
    Cells out;
    out.rows = face.rows / high;
    out.columns = face.columns / wide;
    out.row_mm = face.row_mm * static_cast<double>(high);
    out.column_mm = face.column_mm * static_cast<double>(wide);
    out.mean = face.mean;
    for (std::size_t r = 0; r < out.rows; ++r) {
        out.turned.push_back(face.turned[r * high + high / 2]);
        for (std::size_t c = 0; c < out.columns; ++c) {
            Vector3 sum{};
            for (std::size_t i = 0; i < high * wide; ++i)
                for (std::size_t k = 0; k < 3; ++k)
                    sum[k] += face.left[(r * high + i / wide) * face.columns + c * wide + i % wide][k] / static_cast<double>(high * wide);
            out.left.push_back(sum);
        }
    }
    return out;
}

void soften(Cells& cells, double sigma_mm) {
    const auto along = [&](std::size_t lines, std::size_t line_step, std::size_t places, std::size_t place_step, double place_mm) {
        const auto reach = static_cast<std::size_t>(3 * sigma_mm / place_mm) + 1;
        std::vector<double> weight;
        for (std::size_t i = 0; i <= reach; ++i) weight.push_back(std::exp(-0.5 * std::pow(static_cast<double>(i) * place_mm / sigma_mm, 2)));
        std::vector<Vector3> before(places);
        for (std::size_t line = 0; line < lines; ++line) {
            for (std::size_t i = 0; i < places; ++i) before[i] = cells.left[line * line_step + i * place_step];
            for (std::size_t i = 0; i < places; ++i) {
                Vector3 sum{};
                double total = 0;
                for (std::size_t j = i > reach ? i - reach : 0; j < std::min(places, i + reach + 1); ++j) {
                    const double w = weight[j > i ? j - i : i - j];
                    for (std::size_t k = 0; k < 3; ++k) sum[k] += w * before[j][k];
                    total += w;
                }
                for (std::size_t k = 0; k < 3; ++k) cells.left[line * line_step + i * place_step][k] = sum[k] / total;
            }
        }
    };
    along(cells.rows, cells.columns, cells.columns, 1, cells.column_mm);
    along(cells.columns, 1, cells.rows, cells.columns, cells.row_mm);
}

Signal chroma_of(const Cells& cells) {
    double xx = 0, xy = 0, yy = 0;
    for (const Vector3& v : cells.left) {
        const double x = v[0] - v[1], y = v[2] - v[1];
        xx += x * x;
        xy += x * y;
        yy += y * y;
    }
    const double turn = 0.5 * std::atan2(2 * xy, xx - yy), x = std::cos(turn), y = std::sin(turn);
    return {{x, -x - y, y}, true};
}

double left_by_blur(double frequency, double blur_mm) { return std::max(least_left_by_blur, std::exp(-2 * std::pow(pi * frequency * blur_mm, 2))); }

WaveSearch::WaveSearch(const Cells& cells, double blur_mm, double least_along)
    : cells_(cells),
      least_along_(least_along),
      most_(std::min(std::sqrt(std::log(1 / least_left_by_blur) / 2) / (pi * blur_mm), 0.45 / std::max(cells.row_mm, cells.column_mm))),
      window_rows_(std::min(cells.rows, static_cast<std::size_t>(window_mm / cells.row_mm + 0.5))),
      window_columns_(std::min(cells.columns, static_cast<std::size_t>(window_mm / cells.column_mm + 0.5))),
      row_weight_(hann(window_rows_)),
      column_weight_(hann(window_columns_)),
      round_(0, most_, frequency_step, window_rows_, cells.row_mm),
      along_(-most_, most_, frequency_step, window_columns_, cells.column_mm) {}

Wave WaveSearch::strongest(const Signal& signal, std::size_t row, std::size_t column) const {
    Wave out{row, column};
    std::vector<double> value;
    double weights = 0, mean = 0;
    for (std::size_t i = 0; i < window_rows_; ++i)
        for (std::size_t j = 0; j < window_columns_; ++j) {
            value.push_back(signal(cells_.left[(row + i) * cells_.columns + column + j]));
            weights += row_weight_[i] * column_weight_[j];
            mean += row_weight_[i] * column_weight_[j] * value.back();
        }
    mean /= weights;
    for (std::size_t i = 0, at = 0; i < window_rows_; ++i)
        for (std::size_t j = 0; j < window_columns_; ++j, ++at) {
            const double w = row_weight_[i] * column_weight_[j], d = value[at] - mean;
            out.variance += w * d * d / weights;
            out.third += w * d * d * d / weights;
            value[at] = w * d;
        }
    double best = 0;
    std::vector<Complex> rows(window_rows_);
    for (std::size_t a = 0; a < along_.frequencies.size(); ++a) {
        if (std::abs(along_.frequencies[a]) < least_along_) continue;
        for (std::size_t i = 0; i < window_rows_; ++i) rows[i] = sum(along_[a], std::span<const double>(value).subspan(i * window_columns_, window_columns_));
        for (std::size_t r = 0; r < round_.frequencies.size(); ++r) {
            if (std::hypot(along_.frequencies[a], round_.frequencies[r]) > most_) continue;
            const double power = std::norm(sum(round_[r], std::span<const Complex>(rows)));
            if (power <= best) continue;
            best = power;
            out.along = along_.frequencies[a];
            out.round = round_.frequencies[r];
        }
    }
    out.height = 2 * std::sqrt(best) / weights;
    out.explained = out.variance > 0 ? out.height * out.height / (2 * out.variance) : 0;
    out.cosine = std::cos(cells_.turned[row + window_rows_ / 2]);
    return out;
}

std::vector<Wave> WaveSearch::all(const Signal& signal) const {
    std::vector<Wave> out;
    for (const std::size_t row : starts(cells_.rows, window_rows_))
        for (const std::size_t column : starts(cells_.columns, window_columns_)) out.push_back(strongest(signal, row, column));
    return out;
}

void WaveSearch::add_direction(const Signal& signal, const Wave& wave, Vector3& with, double& power) const {
    Complex own{};
    std::array<Complex, 3> channel{};
    for (std::size_t i = 0; i < window_rows_; ++i)
        for (std::size_t j = 0; j < window_columns_; ++j) {
            const Vector3& v = cells_.left[(wave.row + i) * cells_.columns + wave.column + j];
            const Complex unit = std::polar(row_weight_[i] * column_weight_[j], -2 * pi * (wave.round * cells_.row_mm * static_cast<double>(i) +
                                                                                       wave.along * cells_.column_mm * static_cast<double>(j)));
            own += unit * signal(v);
            for (std::size_t k = 0; k < 3; ++k) channel[k] += unit * v[k];
        }
    power += std::norm(own);
    for (std::size_t k = 0; k < 3; ++k) with[k] += (channel[k] * std::conj(own)).real();
}

}  // namespace bindhue::capture

#include "wrap/metallic.hpp"

#include <algorithm>
#include <cmath>

#include <opencv2/imgproc.hpp>

#include "colour/quantile.hpp"

namespace bindhue::capture {
namespace {

constexpr double face_reach = 0.7;  // round the rod, from facing the camera, radians
constexpr double edge_mm = 0.4, shortest_mm = 1.5;
constexpr double window_mm = 0.6;   // to each side: what is as wide is no glitter
constexpr int fewest_px = 5, noise_px = 3;
constexpr double least_channel = 0.15;  // of the strongest: a fainter one is mostly noise
// Of a run's usual fleck: over what lies round it, and as a share of white. Chosen on the photos that metallic.hpp names.
constexpr double least_glitter = 0.009, least_light = 0.002;

constexpr double looks_reach = 0.5, smooth_theta = 0.1;  // radians
constexpr double most_doubt = 2.5;                        // of a row, over the usual: a streak crosses it

// What all channels of a place have in common, as a share of what lies round it; 0 where they do not agree which way it differs.
double common_part(const cv::Vec3d& off, const cv::Vec3d& round, const std::array<bool, 3>& counts) {
    double least = 0, most = 0;
    bool first = true;
    for (int k = 0; k < 3; ++k) {
        if (!counts[static_cast<std::size_t>(k)]) continue;
        const double x = off[k] / std::max(round[k], 0.01);
        least = first ? x : std::min(least, x);
        most = first ? x : std::max(most, x);
        first = false;
    }
    return least > 0 ? least : most < 0 ? -most : 0.0;
}

}  // namespace

bool glitters(const Skin& skin, const Segment& run, const Vector3& white, double facing_theta) {
    if (run.length_mm() < shortest_mm || skin.theta.size() < 2) return false;
    const double margin = std::min(edge_mm, run.length_mm() / 4);
    const std::size_t first = skin.column_at(run.begin_mm + margin), last = skin.column_at(run.end_mm - margin);
    std::vector<std::size_t> rows;
    for (std::size_t r = 0; r < skin.theta.size(); ++r)
        if (std::abs(skin.theta[r] - facing_theta) < face_reach && std::isfinite(skin.at(r, first < skin.columns ? first : 0)[0])) rows.push_back(r);
    if (rows.empty() || last <= first) return false;

    cv::Mat_<cv::Vec3d> light(static_cast<int>(rows.size()), static_cast<int>(last - first));
    for (int r = 0; r < light.rows; ++r)
        for (int c = 0; c < light.cols; ++c) {
            const Vector3& v = skin.at(rows[static_cast<std::size_t>(r)], first + static_cast<std::size_t>(c));
            for (int k = 0; k < 3; ++k) light(r, c)[k] = std::isfinite(v[0]) ? v[static_cast<std::size_t>(k)] / white[static_cast<std::size_t>(k)] : 0.0;
        }
    const cv::Scalar mean = cv::mean(light);
    const double strongest = std::max({mean[0], mean[1], mean[2]}), level = (mean[0] + mean[1] + mean[2]) / 3;
    if (!(level > 0)) return false;
    const std::array<bool, 3> counts{mean[0] > least_channel * strongest, mean[1] > least_channel * strongest, mean[2] > least_channel * strongest};

    const auto mean_over = [](const cv::Mat_<cv::Vec3d>& from, int wide, int high) {
        cv::Mat_<cv::Vec3d> out;
        cv::blur(from, out, {wide, high}, {-1, -1}, cv::BORDER_REFLECT_101);
        return out;
    };
    light = mean_over(light, noise_px, noise_px);
    const int wide = 2 * std::max(fewest_px, static_cast<int>(window_mm / skin.ds + 0.5)) + 1, high = 2 * std::max(fewest_px, static_cast<int>(window_mm / skin.ds / skin.row_px + 0.5)) + 1;
    const cv::Mat_<cv::Vec3d> box = mean_over(light, wide, high), along = mean_over(light, wide, 1), round = mean_over(light, 1, high);
    std::vector<double> by_row;
    for (int r = 0; r < light.rows; ++r) {
        std::vector<double> flecks;
        for (int c = 0; c < light.cols; ++c) flecks.push_back(common_part(light(r, c) - along(r, c) - round(r, c) + box(r, c), box(r, c), counts));
        by_row.push_back(median(std::move(flecks)));
    }
    // Glitter is seen all round; a quarter of the rows is enough for most else that is not smooth.
    const double glitter = quantile(std::move(by_row), 0.25);
    return glitter > least_glitter && glitter * level > least_light;
}

std::optional<Looks> looks_round(const std::vector<double>& theta, std::size_t run, std::span<const Pair> pairs, const std::vector<bool>& metallic,
                                 std::span<const CameraRgb> colours, const Shadings& shading, const Vector3& white, double let_in, double facing_theta) {
    std::vector<Vector3> sum(theta.size()), weight(theta.size());
    for (const Pair& pair : pairs) {
        if (pair.alike || (pair.before != run && pair.after != run)) continue;
        const std::size_t beside = pair.before == run ? pair.after : pair.before;
        if (metallic[beside]) continue;
        const double sign = pair.after == run ? 1.0 : -1.0;
        const Vector3 base = colours[beside].vector();
        for (std::size_t k = 0; k < 3; ++k) {
            const Contrast& step = pair.step[k];
            std::vector<double> doubts;
            for (const double d : step.deviation)
                if (std::isfinite(d)) doubts.push_back(d);
            if (doubts.empty()) continue;
            const double most = most_doubt * median(std::move(doubts));
            for (std::size_t r = 0; r < theta.size(); ++r) {
                if (!(step.deviation[r] < most) || std::abs(theta[r] - facing_theta) > looks_reach) continue;
                const double w = 1 / (step.deviation[r] * step.deviation[r]);
                sum[r][k] += w * (base[k] + sign * step.value[r] / (shading[k](theta[r]) * let_in));
                weight[r][k] += w;
            }
        }
    }
    std::optional<Looks> out;
    double least = 0, most = 0;
    for (std::size_t r = 0; r < theta.size(); ++r) {
        if (!(weight[r][0] > 0)) continue;
        Vector3 top{}, bottom{};
        for (std::size_t i = 0; i < theta.size(); ++i)
            for (std::size_t k = 0; k < 3 && std::abs(theta[i] - theta[r]) <= smooth_theta; ++k) {
                top[k] += sum[i][k];
                bottom[k] += weight[i][k];
            }
        double level = 0;
        for (std::size_t k = 0; k < 3; ++k) {
            top[k] /= bottom[k];
            level += top[k] / white[k] / 3;
        }
        if (!std::isfinite(level)) continue;
        if (!out) {
            out = Looks{CameraRgb::from(top), CameraRgb::from(top)};
            least = most = level;
        } else if (level > most) {
            out->face = CameraRgb::from(top);
            most = level;
        } else if (level < least) {
            out->flop = CameraRgb::from(top);
            least = level;
        }
    }
    return out;
}

}  // namespace bindhue::capture

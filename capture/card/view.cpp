#include "card/view.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <opencv2/core.hpp>

#include "colour/quantile.hpp"

namespace bindhue::capture {
namespace {

constexpr double margin_share =
    0.2;  // of a patch's side, left out on each side: print spread, blur, sharpening halos
constexpr double high_clip = 0.985;
constexpr double low_clip = 1.5 / 255;       // encoded; a linear file keeps its noise about black
constexpr double low_clip_mean = 3.5 / 255;  // compression blurs what was cut off at zero
constexpr double clipped_share = 0.02;
constexpr std::size_t fewest_patches = 12;

template <class Pixel>
Vector3 bilinear(const cv::Mat& m, double x, double y, double scale) {
    const int x0 = static_cast<int>(x), y0 = static_cast<int>(y);
    const double fx = x - x0, fy = y - y0;
    const auto *top = m.ptr<Pixel>(y0) + x0, *bottom = m.ptr<Pixel>(y0 + 1) + x0;
    Vector3 out{};
    for (int c = 0; c < 3; ++c) {
        const double upper = top[0][c] * (1 - fx) + top[1][c] * fx,
                     lower = bottom[0][c] * (1 - fx) + bottom[1][c] * fx;
        out[static_cast<std::size_t>(2 - c)] = (upper * (1 - fy) + lower * fy) / scale;
    }
    return out;
}

}  // namespace

Vector3 response_at(const Photo& photo, const cv::Point2d& p) {
    if (!(p.x >= 0 && p.y >= 0 && p.x < photo.bgr.cols - 1 && p.y < photo.bgr.rows - 1)) {
        const double nan = std::numeric_limits<double>::quiet_NaN();
        return {nan, nan, nan};
    }
    return photo.bgr.depth() == CV_8U ? bilinear<cv::Vec3b>(photo.bgr, p.x, p.y, 255.0)
                                      : bilinear<cv::Vec3w>(photo.bgr, p.x, p.y, 65535.0);
}

Result<CardView> sample_card(const Photo& photo, const CardLayout& layout, const CardPose& pose) {
    CardView view;
    view.pose = pose;
    // One sample a pixel, about, and not so many that a large photo costs more than it tells.
    std::size_t lightest = 0, lightest_clipped = 0;
    Vector3 light{};  // of the lightest together
    for (const CardPatch& patch : layout.patches) {
        const CardRect& r = patch.rect;
        const double mx = margin_share * r.width_mm, my = margin_share * r.height_mm;
        const int nx = std::clamp(static_cast<int>((r.width_mm - 2 * mx) * pose.px_per_mm), 3, 64);
        const int ny = std::clamp(static_cast<int>((r.height_mm - 2 * my) * pose.px_per_mm), 3, 64);
        std::array<std::vector<double>, 3> values;
        std::array<std::size_t, 3> high{}, low{};
        bool outside = false;
        for (int j = 0; j < ny && !outside; ++j)
            for (int i = 0; i < nx; ++i) {
                const cv::Point2d pixel =
                    pose.project({r.x_mm + mx + (i + 0.5) * (r.width_mm - 2 * mx) / nx,
                                  r.y_mm + my + (j + 0.5) * (r.height_mm - 2 * my) / ny, 0});
                const Vector3 v = response_at(photo, pixel);
                if (!std::isfinite(v[0])) {
                    outside = true;
                    break;
                }
                for (std::size_t c = 0; c < 3; ++c) {
                    high[c] += v[c] >= high_clip;
                    low[c] += v[c] <= low_clip;
                    values[c].push_back(v[c]);
                }
            }
        if (outside) {
            view.notes.push_back("patch " + patch.id + " is outside the picture");
            continue;
        }
        PatchSample sample;
        sample.id = patch.id;
        sample.role = patch.role;
        sample.reference = patch.lab;
        if (patch.covariance) sample.reference_covariance = *patch.covariance;
        if (patch.spectrum) sample.spectrum = patch.spectrum->resampled();
        sample.place = r.centre();
        const auto n = static_cast<double>(values[0].size());

        // Pixels far from the patch's middle value are dirt or glare; many of them, and the patch is not one
        // colour.
        std::size_t strays = 0;
        for (std::size_t c = 0; c < 3; ++c) {
            const double middle = median(values[c]);
            std::vector<double> away;
            for (const double v : values[c]) away.push_back(std::abs(v - middle));
            const double spread = 1.4826 * median(away) + 0.002;
            double sum = 0, squares = 0;
            std::size_t kept = 0, channel_strays = 0;
            for (const double v : values[c]) {
                if (std::abs(v - middle) > 4 * spread + 0.03 * middle) {
                    ++channel_strays;
                    continue;
                }
                sum += v;
                squares += v * v;
                ++kept;
            }
            const double mean = sum / static_cast<double>(kept);
            const double variance = std::max(0.0, squares / static_cast<double>(kept) - mean * mean);
            sample.rgb[c] = mean;
            // Demosaicing and JPEG tie neighbours together: about one independent value in nine.
            sample.standard_error[c] = std::sqrt(variance * 9.0 / static_cast<double>(kept));
            strays = std::max(strays, channel_strays);
            sample.clipped_high[c] = static_cast<double>(high[c]) > clipped_share * n;
            sample.clipped_low[c] =
                !photo.linear && (static_cast<double>(low[c]) > clipped_share * n || mean < low_clip_mean);
            sample.clipped = sample.clipped || sample.clipped_high[c] || sample.clipped_low[c];
        }
        if (static_cast<double>(strays) > 0.2 * n) {
            view.notes.push_back("patch " + patch.id + " is not of one colour (covered, dirty or mirroring)");
            continue;
        }
        if (patch.role == PatchRole::grey && patch.lab.L > 90) {
            ++lightest;
            for (std::size_t c = 0; c < 3; ++c) light[c] += sample.rgb[c];
            if (sample.clipped) ++lightest_clipped;
        }
        view.patches.push_back(std::move(sample));
    }
    view.clipped_white_share =
        lightest == 0 ? 0.0 : static_cast<double>(lightest_clipped) / static_cast<double>(lightest);
    if (lightest > 0) {
        for (double& v : light) v /= static_cast<double>(lightest);
        view.white = light;
    }

    const auto usable = static_cast<std::size_t>(
        std::count_if(view.patches.begin(), view.patches.end(), [](const PatchSample& p) {
            bool open = false;
            for (std::size_t c = 0; c < 3; ++c) open = open || !(p.clipped_low[c] || p.clipped_high[c]);
            return open && (p.role == PatchRole::grey || p.role == PatchRole::colour);
        }));
    if (lightest > 0 && lightest_clipped == lightest)
        return Error{
            Reason::cannot_measure, "every white patch of the card is blown out", photo.source,
            "take the photo again with less exposure: the card's white must not reach the top of the scale"};
    if (usable < std::min(fewest_patches, layout.patches.size()))
        return Error{Reason::cannot_measure,
                     "only " + std::to_string(usable) + " patches of the card can be used", photo.source,
                     "uncover the card, keep glare off it, and expose so that white is not blown out"};
    return view;
}

}  // namespace bindhue::capture

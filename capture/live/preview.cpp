#include "live/preview.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <map>

#include <opencv2/imgproc.hpp>

#include "card/sharpness.hpp"
#include "card/view.hpp"
#include "photo/container.hpp"
#include "wrap/rod.hpp"

namespace bindhue::capture {
namespace {

constexpr int sample_side = 960;  // patches have pixels enough then, and a rod that can be read is not too thin

CardPose scaled(CardPose pose, double by) {
    pose.camera(0, 0) *= by;
    pose.camera(1, 1) *= by;
    for (const int k : {0, 1}) pose.camera(k, 2) = (pose.camera(k, 2) + 0.5) * by - 0.5;
    pose.px_per_mm *= by;
    pose.residual_px *= by;
    return pose;
}

// The curve of sRGB and the card's white, by which a rod can be found and an edge judged; no colour is measured by it.
CameraFit rough_fit(bool linear, const Vector3& white) {
    CameraFit fit;
    if (!linear) fit.tone = ToneCurve::srgb();
    const Vector3 light = fit.tone.to_linear(white);
    fit.model = ColourModel::matrix;
    const XYZ<D50> top = XYZ<D50>::white();
    // White for white, and otherwise as little as a matrix can say.
    fit.map[0][0] = top.X / std::max(light[0], 1e-3);
    fit.map[1][1] = top.Y / std::max(light[1], 1e-3);
    fit.map[2][2] = top.Z / std::max(light[2], 1e-3);
    return fit;
}

double mean_of(const Vector3& v) { return (v[0] + v[1] + v[2]) / 3; }

struct Grey {
    const PatchSample* sample;
    int step = 0;
    double u = 0, v = 0, log_light = 0;
};

// Slopes of the light's logarithm over the card, u and v from -1 to 1, by greys of one step in several places; the brightest outlier is glare.
struct GreyLight {
    double along_u = 0, along_v = 0;
    std::vector<std::string> glaring;

    double unevenness() const { return std::exp(2 * (std::abs(along_u) + std::abs(along_v))); }
};

GreyLight light_of(std::vector<Grey> greys) {
    GreyLight out;
    for (int round = 0; round < 6 && greys.size() >= 6; ++round) {
        std::map<int, std::array<double, 4>> sums;  // u, v, log, count
        for (const Grey& g : greys) {
            auto& s = sums[g.step];
            s[0] += g.u, s[1] += g.v, s[2] += g.log_light, s[3] += 1;
        }
        double uu = 1e-6, uv = 0, vv = 1e-6, uy = 0, vy = 0;
        const auto centred = [&](const Grey& g) {
            const auto& s = sums[g.step];
            return std::array<double, 3>{g.u - s[0] / s[3], g.v - s[1] / s[3], g.log_light - s[2] / s[3]};
        };
        for (const Grey& g : greys) {
            const auto [u, v, y] = centred(g);
            uu += u * u, uv += u * v, vv += v * v, uy += u * y, vy += v * y;
        }
        const double det = uu * vv - uv * uv;
        out.along_u = (uy * vv - vy * uv) / det;
        out.along_v = (vy * uu - uy * uv) / det;
        // Over the darkest of its step: of two, the one that glares is the lighter.
        auto worst = greys.end();
        double most = std::log(preview_glare);
        for (auto g = greys.begin(); g != greys.end(); ++g) {
            double least = 1e9;
            for (const Grey& other : greys)
                if (other.step == g->step) least = std::min(least, other.log_light - out.along_u * other.u - out.along_v * other.v);
            const double over = g->log_light - out.along_u * g->u - out.along_v * g->v - least;
            if (over > most) most = over, worst = g;
        }
        if (worst == greys.end()) break;
        out.glaring.push_back(worst->sample->id);
        greys.erase(worst);
    }
    return out;
}

std::string in_list(const std::vector<std::string>& ids) {
    std::string out;
    for (std::size_t i = 0; i < std::min<std::size_t>(ids.size(), 6); ++i) out += (i > 0 ? ", " : "") + ids[i];
    return out;
}

Fault fault_of(const Error& error) {
    return error.what.find("oblique") != std::string::npos ? Fault::tilted : error.what.find("too small") != std::string::npos ? Fault::too_far : Fault::no_card;
}

}  // namespace

std::string_view name(Fault fault) {
    switch (fault) {
        case Fault::no_card:
            return "no-card";
        case Fault::too_far:
            return "too-far";
        case Fault::tilted:
            return "tilted";
        case Fault::too_dark:
            return "too-dark";
        case Fault::too_bright:
            return "too-bright";
        case Fault::glare:
            return "glare";
        case Fault::uneven:
            return "uneven";
        case Fault::not_sharp:
            return "not-sharp";
        case Fault::no_rod:
            return "no-rod";
        case Fault::moving:
            return "moving";
    }
    return "";
}

Preview look_at(const Photo& frame, const CardLayout& layout, RodCheck rod_check) {
    Preview out;
    const auto advise = [&](Fault fault, std::string what, std::string mend) { out.advice.push_back({fault, std::move(what), std::move(mend)}); };
    const Result<CardPose> found = find_card(frame, layout, {}, FiducialSearch::quick);
    if (!found) {
        advise(fault_of(found.error()), found.error().what, found.error().mend);
        return out;
    }
    out.pose = *found;
    Photo small = frame;
    const double scale = std::min(1.0, static_cast<double>(sample_side) / std::max(frame.bgr.cols, frame.bgr.rows));
    if (scale < 1) {
        small.bgr = cv::Mat();  // else the smaller picture would be written into the pixels that both share
        cv::resize(frame.bgr, small.bgr, {}, scale, scale, cv::INTER_AREA);
    }
    const CardPose small_pose = scaled(*found, scale);
    if (out.pose->px_per_mm < preview_px_per_mm) advise(Fault::too_far, "the card is too small in the picture", "come nearer until the card fills it");
    if (out.pose->tilt_deg > preview_tilt_deg)
        advise(Fault::tilted, "the camera looks at the card from " + std::to_string(std::lround(out.pose->tilt_deg)) + " degrees aside", "hold it square above the card");

    const Result<CardView> view = sample_card(small, layout, small_pose);
    if (!view) {
        const bool blown = view.error().what.find("blown out") != std::string::npos;
        advise(blown ? Fault::too_bright : Fault::glare, view.error().what, blown ? "expose less, or turn the light down: the card's white must not reach the top of the scale" : view.error().mend);
        return out;
    }
    std::vector<Grey> greys;
    std::vector<double> steps;
    std::vector<std::string> blown;
    for (const PatchSample& s : view->patches) {
        if (s.role != PatchRole::grey) continue;
        if (s.reference.L > 90 && (s.clipped_high[0] || s.clipped_high[1] || s.clipped_high[2])) blown.push_back(s.id);
    }
    const Vector3 white = view->white.value_or(Vector3{1, 1, 1});
    const CameraFit fit = rough_fit(frame.linear, white);
    for (const PatchSample& s : view->patches) {
        if (s.role != PatchRole::grey || s.reference.L < 45) continue;  // the dark ones differ by stray light
        const double light = mean_of(fit.tone.to_linear(s.rgb));
        if (light <= 0) continue;
        // Steps are some 10 apart, and one step's prints within 1 or 2.
        int step = 0;
        while (step < static_cast<int>(steps.size()) && std::abs(steps[static_cast<std::size_t>(step)] - s.reference.L) > 4) ++step;
        if (step == static_cast<int>(steps.size())) steps.push_back(s.reference.L);
        greys.push_back({&s, step, 2 * s.place->x_mm / layout.width_mm - 1, 2 * s.place->y_mm / layout.height_mm - 1, std::log(light)});
    }
    if (!blown.empty())
        advise(Fault::too_bright, "the card's white is blown out at " + in_list(blown), "expose less, or turn the light down");
    else if (mean_of(white) < preview_white_low)
        advise(Fault::too_dark, "the picture is too dark", "give it more light or more exposure: the card's white should be light, but not blown out");
    const GreyLight light = light_of(greys);
    if (!light.glaring.empty()) {
        advise(Fault::glare, "glare lies on grey steps: " + in_list(light.glaring), "move the lamp or the camera until no step shines");
    } else if (light.unevenness() > preview_uneven) {
        const bool sideways = std::abs(light.along_u) > std::abs(light.along_v);
        const std::string darker = sideways ? (light.along_u > 0 ? "left" : "right") : (light.along_v > 0 ? "top" : "bottom");
        advise(Fault::uneven, "the light is uneven: the card is darker at its " + darker, "move the lamp farther off, or turn the bench so that the light comes from both sides");
    }
    if (const auto blur = blur_of_edges(frame, layout, *out.pose, fit); blur && *blur / out.pose->px_per_mm > preview_blur_mm)
        advise(Fault::not_sharp, "the picture is not sharp", "focus on the card, hold still, and wipe the lens");
    if (rod_check == RodCheck::yes && layout.opening && out.advice.empty())
        if (const Result<Rod> rod = find_rod(*flatten_opening(small, layout, small_pose, fit), small_pose); !rod) advise(Fault::no_rod, rod.error().what, rod.error().mend);
    return out;
}

Result<Preview> look_at(std::span<const std::uint8_t> file, const CardLayout& layout, RodCheck rod_check) {
    const Result<Container> head = read_container(file, "the frame");
    if (!head) return head.error();
    const std::uint64_t pixels = std::uint64_t{head->width} * head->height;
    if ((head->format != ImageFormat::jpeg && head->format != ImageFormat::png) || pixels > largest_frame_pixels)
        return Error{Reason::bad_value, "a frame is a JPEG or PNG of at most 4.2 megapixels", "the frame", "send smaller frames"};
    const Result<Photo> photo = decode_photo(file, "the frame", {});
    if (!photo) return photo.error();
    return look_at(*photo, layout, rod_check);
}

}  // namespace bindhue::capture

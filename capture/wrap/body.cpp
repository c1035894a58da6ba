#include "wrap/body.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <utility>

#include <opencv2/core.hpp>

#include "colour/quantile.hpp"
#include "wrap/added_light.hpp"

namespace bindhue::capture {
namespace {

constexpr double degree = 0.017453292519943295;
constexpr double body_reach =
    16 * degree;  // from facing the camera: where the least mirrored place is looked for
constexpr double lone_reach = 10 * degree;  // the same where the shading is only assumed
// Where a streak covers all of that, as the darker places beside it show, it is looked for farther out by steps of this. The two numbers were chosen on rendered
// photos (seeds 1700000 to 1730035): below them, other angles mirror other things, and the shading is not known better.
constexpr double farther = 6 * degree;
bool covered(double darkest, double darkest_round) { return darkest > 1.4 * darkest_round + 0.01; }
// Only where it is lit nearly as well: in its own shade the light falls too steeply for a rod that is thicker under its wraps.
constexpr double least_light = 0.7;
constexpr double farther_shading_error = 0.1;  // relative, of S out there
constexpr double cell_mm = 2.0;             // along the rod: several turns of thread
// What the camera's own side still sends into the mirror: 4 % (Fresnel, n = 1.5) of a reflectance of about 3 %, from memory of
// black plastic, under a third of the light, since that side is turned from the lights and sees the card and the bench. The third was chosen with the
// renderer's mirror in view. The error, like the other deviations below, was widened until the regions held on rendered photos (seeds 1 to 26): tuned, not measured.
constexpr double dark_mirror = 0.0004, dark_mirror_error = 0.002;
// What a room sends into the mirror where it does not show the camera: 4 % of walls and ceiling that are a tenth to a half as bright as the
// card's white (a guess, made with the renderer's own mirror, 0.3 to 2 % of white, in view; a real room may differ). All of a rod sees one
// room; parts of it differ by less.
constexpr double room_mirror = 0.008, room_mirror_error = 0.006, room_unevenness = 0.003;
// No channel of a dyed thread or a paint falls lower, as a share of white: from memory of black thread, L* 4 to 6.
constexpr double least_body = 0.003;
constexpr double stretch_mm = 10;         // along the rod: a dark place as long as that is looked for
constexpr double farthest_pair_mm = 6.0;  // a narrow trim between two wider bands
constexpr double drift_per_mm = 0.0003;   // of the mirror image along the rod, a share of white
constexpr double alike_error = 0.001;     // of one blank, from place to place, a share of white
// A phone lies 75 mm wide round the lens (from memory).
constexpr double camera_half_mm = 37;
constexpr double least_excess =
    0.001;  // deviation of the excess of a well resolved dark place, a share of white
// Light that enters a clear coat (n = 1.5) over light that enters it at 45 degrees, which a colour is defined for: half of a room's
// light comes from all over (Fresnel lets in 0.908), half from a window or lamp at 45 to 55 degrees (0.945), against 0.950, would make
// 0.975. With 0.985 rendered photos (seeds 1700000 to 1740035) read 1.2 % too light; what makes up for it was not found out.
constexpr double coat_entry = 0.995;
constexpr double shading_error = 0.02;  // relative, of S after the fit, common to all bands
// Both tuned on rendered photos: relative, of a step beyond that; of the light from place to place along the rod.
constexpr double step_error = 0.006;
constexpr double light_error = 0.015;
// A step that is off by so many squared deviations counts half (Cauchy's loss): a foot or an uneven coat may lie beside the edge. Of 4, 16, 50 and 150 the steps of
// guides like the least, and a rod whose whole strip mirrors something bright 50 and more (seeds 1700000 to 1810011).
constexpr double step_doubt = 30;
// Relative, of the light on the rod against the light on the card beside it, common to a photo: rendered photos (seeds 505000 to 535011) erred by 2 to 3 %.
constexpr double level_error = 0.02;
constexpr double lone_shading_error = 0.05;  // where no second colour tells S
// Of metallic thread, whose colour is defined for light at 45 degrees: anywhere between its looks, as even a spread has it (1 / sqrt 3 of its half).
constexpr double within_looks = 0.58;
// And lit by lamps that no part of the photo shows it under: relative. Chosen on rendered photos (seeds 970000 to 970015).
constexpr double beyond_looks = 0.12;

// Rows beside something much brighter: sharpening, JPEG's blocks and demosaicing swing below the truth there, and would pass for the place that mirrors
// least. The reach is a common sharpening's, from memory; the step was chosen on rendered photos (seeds 505000 to 535011).
std::vector<bool> beside_streak(const Profile& p, const Vector3& white, double row_px) {
    constexpr double reach_px = 3, step = 0.1;
    const auto n = static_cast<std::ptrdiff_t>(p.mean.size()),
               reach_rows = static_cast<std::ptrdiff_t>(std::ceil(reach_px / row_px));
    std::vector<double> level;
    for (const Vector3& v : p.mean) level.push_back((v[0] / white[0] + v[1] / white[1] + v[2] / white[2]) / 3);
    std::vector<bool> out(p.mean.size(), false);
    for (std::ptrdiff_t r = 0; r < n; ++r)
        for (std::ptrdiff_t i = std::max<std::ptrdiff_t>(0, r - reach_rows);
             i <= std::min(n - 1, r + reach_rows) && !out[static_cast<std::size_t>(r)]; ++i)
            out[static_cast<std::size_t>(r)] =
                level[static_cast<std::size_t>(i)] > level[static_cast<std::size_t>(r)] + step;
    return out;
}

// The least that a body of that response sends back of any part of the light, as a share of white. A phone takes what one channel has in common with others off
// it, so that a vivid thread may leave nothing in one: there X, Y and Z tell, which no surface lacks.
double least_sent_back(const Vector3& response, const CameraFit& fit, const Vector3& white) {
    if (std::isfinite(fit.darkest[0])) {
        const XYZ<D50> colour = fit.to_xyz(CameraRgb::from(response));
        return std::min({colour.X / D50::X, colour.Y / D50::Y, colour.Z / D50::Z});
    }
    return std::min({response[0] / white[0], response[1] / white[1], response[2] / white[2]});
}

// The least mirrored place of a band: I / S there, averaged over all places that are nearly as dark.
struct Darkest {
    Vector3 value{};      // of b + excess
    Vector3 variance{};   // of the mean, by the scatter of the places
    double surround = 0;  // how much brighter most places round about are, a share of white
    double shaded = 0;    // share of it that lies in the camera's shade
    bool seen = false;
    bool looked_farther = false;  // from facing the camera than was asked for: a streak covers that
};

// A small patch of a band's skin: I / S there.
struct Cell {
    Vector3 value{};
    double level = 0;  // mean of the channels, a share of white; a little more away from the card's normal
    double off = 0;    // radians from facing the camera
    double light = 1;  // there, over the light where it faces the camera
    int stretch = 0;   // of the band's stretches, the one that it lies in
    bool shaded = false, spoilt = false;
};

int stretches_of(const Segment& segment) { return std::max(1, static_cast<int>(segment.length_mm() / stretch_mm)); }

// All that lies within that angle of facing the camera, or within reach of the shading's fit.
std::vector<Cell> cells_of(const Skin& skin, const Segment& segment, const Shadings& shading, const CameraFit& fit, const Vector3& white, double facing_theta,
                           double within, const CameraShade& camera) {
    std::vector<Cell> out;
    const int stretches = stretches_of(segment);
    const double margin = margin_of(segment);
    const double begin = segment.begin_mm + margin, end = segment.end_mm - margin;
    const int along = std::max(1, static_cast<int>((end - begin) / cell_mm));
    // Cells of about two degrees: a single row is too noisy for its least value to mean anything.
    const double row_step = skin.theta.size() > 1 ? skin.theta[1] - skin.theta[0] : 1.0;
    const auto rows_per_cell = std::max<std::size_t>(1, static_cast<std::size_t>(2 * degree / row_step));
    const auto light_at = [&](double theta) { return std::max((shading[0](theta) + shading[1](theta) + shading[2](theta)) / 3, 0.2); };
    const double facing_light = light_at(facing_theta);
    for (int a = 0; a < along; ++a) {
        const Profile p =
            profile_of(skin, begin + (end - begin) * a / along, begin + (end - begin) * (a + 1) / along);
        const std::vector<bool> spoilt = beside_streak(p, white, skin.row_px);
        for (std::size_t r = 0; r + rows_per_cell <= skin.theta.size(); r += rows_per_cell) {
            Cell cell;
            const double s_mm = begin + (end - begin) * (a + 0.5) / along;
            cell.stretch = a * stretches / along;
            double n = 0, away = 0, turned = 0;
            for (std::size_t i = r; i < r + rows_per_cell; ++i) {
                const double off = std::abs(skin.theta[i] - facing_theta);
                if ((off > within && std::max(off, std::abs(skin.theta[i])) > shading_reach) || !std::isfinite(p.mean[i][0])) continue;
                for (std::size_t k = 0; k < 3; ++k)
                    cell.value[k] += p.mean[i][k] / std::max(shading[k](skin.theta[i]), 0.2);
                away += std::abs(skin.theta[i]);
                turned += skin.theta[i] - facing_theta;
                cell.spoilt = cell.spoilt || spoilt[i];
                n += 1;
            }
            if (n < 1) continue;
            for (std::size_t k = 0; k < 3; ++k) {
                cell.value[k] /= n;
                cell.level += cell.value[k] / white[k] / 3;
            }
            // Beside a streak sharpening leaves less than nothing.
            cell.spoilt = cell.spoilt || least_sent_back(cell.value, fit, white) < 0;
            cell.off = std::abs(turned / n);
            cell.light = light_at(facing_theta + turned / n) / facing_light;
            cell.shaded =
                std::abs(s_mm - camera.s_mm) <= camera.reach_mm && cell.off <= camera.reach_theta;
            // Away from the card's normal S is less sure, which matters to a light band; a dark one may go further to pass a streak.
            const double far = away / n / (30 * degree);
            cell.level *= 1 + 0.15 * far * far;
            out.push_back(cell);
        }
    }
    return out;
}

// Those within reach that nothing has spoilt; on a thin rod no others may be left.
std::vector<Cell> cells_within(double reach, const std::vector<Cell>& cells) {
    std::vector<Cell> out;
    for (const Cell& c : cells)
        if (c.off <= reach) out.push_back(c);
    if (!std::ranges::all_of(out, &Cell::spoilt)) std::erase_if(out, [](const Cell& c) { return c.spoilt; });
    return out;
}

// Of the darkest stretch: the camera's shade may cover a small part of a long band.
double darkest_level(const std::vector<Cell>& cells, int stretches) {
    double least = std::numeric_limits<double>::infinity();
    for (int part = 0; part < stretches; ++part) {
        std::vector<double> own;
        for (const Cell& c : cells)
            if (c.stretch == part) own.push_back(c.level);
        if (!own.empty()) least = std::min(least, quantile(own, 0.05));
    }
    return least;
}

Darkest darkest_place(const Skin& skin, const Segment& segment, const Shadings& shading, const CameraFit& fit, const Vector3& white,
                      double facing_theta, double within, const CameraShade& camera) {
    const int stretches = stretches_of(segment);
    const std::vector<Cell> round = cells_of(skin, segment, shading, fit, white, facing_theta, within, camera);
    Darkest out;
    if (round.empty()) return out;
    std::vector<Cell> lit = cells_within(std::numeric_limits<double>::infinity(), round);
    std::erase_if(lit, [](const Cell& c) { return c.light < least_light; });
    const double darkest_round = darkest_level(lit, stretches);
    std::vector<Cell> cells = cells_within(within, round);
    for (double reach = within; covered(darkest_level(cells, stretches), darkest_round) && reach < shading_reach; cells = cells_within(reach, round)) {
        reach += farther;
        out.looked_farther = true;
    }
    const double darkest = darkest_level(cells, stretches);
    std::vector<double> levels;
    for (const Cell& c : cells) levels.push_back(c.level);
    out.surround = quantile(levels, 0.4) - darkest;
    // Mirrored light of half a percent of white does not matter to a light band, and S is not known to better than a percent: it
    // averages over more places, since the darkest of many is too dark.
    const double width = 0.0012 + 0.04 * darkest;
    Vector3 sum{}, squares{};
    double total = 0, total_squares = 0;
    for (const Cell& c : cells) {
        const double w = std::exp(-std::max(0.0, c.level - darkest) / width);
        for (std::size_t k = 0; k < 3; ++k) {
            sum[k] += w * c.value[k];
            squares[k] += w * c.value[k] * c.value[k];
        }
        total += w;
        total_squares += w * w;
        if (c.shaded) out.shaded += w;
    }
    out.shaded /= total;
    // Of noisy cells the darkest are those whose noisiest channels came out low: their lightness is taken, but their hue from more places,
    // since what a coat mirrors is nearly white over many places. Of 0.003, 0.008, 0.02, 0.03 and 0.05 of white this was chosen on path-traced photos (seeds 100 to 125, 5000 to 5017, as many
    // by phone); own ones (1700000 on) read alike with 0.008 to 0.03.
    Vector3 wide{};
    double wide_total = 0;
    for (const Cell& c : cells) {
        const double w = std::exp(-std::max(0.0, c.level - darkest) / (0.02 + 0.04 * darkest));
        for (std::size_t k = 0; k < 3; ++k) wide[k] += w * c.value[k] / white[k];
        wide_total += w;
    }
    double wide_level = 0, level = 0;
    for (std::size_t k = 0; k < 3; ++k) {
        wide[k] /= wide_total;
        wide_level += wide[k] / 3;
        level += sum[k] / total / white[k] / 3;
    }
    const double independent = total * total / total_squares;
    for (std::size_t k = 0; k < 3; ++k) {
        out.value[k] = sum[k] / total;
        out.variance[k] =
            std::max(0.0, squares[k] / total - out.value[k] * out.value[k]) / std::min(independent, 5.0);
        out.value[k] = white[k] * (wide[k] + level - wide_level);
    }
    out.seen = true;
    return out;
}

// How much of a place's light may be mirrored, as a share of white, so that a body is left.
double most_excess(const Vector3& value, const CameraFit& fit, const Vector3& white) {
    const auto leaves_body = [&](double excess) {
        Vector3 left;
        for (std::size_t k = 0; k < 3; ++k) left[k] = value[k] - (excess + dark_mirror) * white[k];
        return least_sent_back(left, fit, white) >= least_body;
    };
    if (!leaves_body(0)) return 0;
    double low = 0, high = std::max({value[0] / white[0], value[1] / white[1], value[2] / white[2]});
    for (int round = 0; round < 20; ++round) {
        const double middle = (low + high) / 2;
        (leaves_body(middle) ? low : high) = middle;
    }
    return low;
}

// What a step between two bands says of their excesses, by channel, as shares of white: seen - step = excess after - excess before.
struct Gap {
    int before, after;
    Vector3 size, deviation;
    Vector3 lever;  // by how much it is off if the shading is wrong by one

    // What it counts for, if the excesses are these (Cauchy's loss).
    double weight(const std::vector<double>& excess, double shading_off) const {
        double off = 0;
        for (std::size_t k = 0; k < 3; ++k) {
            const double left = size[k] - (excess[static_cast<std::size_t>(after)] - excess[static_cast<std::size_t>(before)]) - lever[k] * shading_off;
            off += left * left / (deviation[k] * deviation[k]) / 3;
        }
        return 1 / (1 + off / step_doubt);
    }
};

std::vector<Gap> gaps_of(const std::vector<Pair>& pairs, const std::vector<Darkest>& dark, const Vector3& white) {
    std::vector<Gap> out;
    for (const Pair& pair : pairs) {
        if (!pair.matt) continue;  // its step has no one size
        Gap gap{static_cast<int>(pair.before), static_cast<int>(pair.after), {}, {}, {}};
        for (std::size_t k = 0; k < 3; ++k) {
            const Contrast& step = pair.step[k];
            const double level = std::max(dark[pair.after].value[k], dark[pair.before].value[k]) / white[k];
            gap.size[k] = (dark[pair.after].value[k] - dark[pair.before].value[k] - step.size) / white[k];
            gap.deviation[k] = (step.error + step_error * std::abs(step.size)) / white[k] + 0.0004 +
                               drift_per_mm * pair.apart_mm + (pair.alike ? light_error * level : 0.0);
            gap.lever[k] = step.size / white[k];
        }
        out.push_back(gap);
    }
    return out;
}

// Normal equations of the excesses; the last unknown is the shading's error.
struct ExcessEquations {
    explicit ExcessEquations(std::size_t bands)
        : n(static_cast<int>(bands)), curvature(cv::Mat::zeros(n + 1, n + 1, CV_64F)), slope(cv::Mat::zeros(n + 1, 1, CV_64F)) {
        curvature.at<double>(n, n) = 1 / (shading_error * shading_error);
    }

    void add(const Gap& gap, double weight) {
        for (std::size_t k = 0; k < 3; ++k) {
            const double w = weight / (gap.deviation[k] * gap.deviation[k]) / 2;  // the channels' errors are tied
            const std::array<std::pair<int, double>, 3> row{{{gap.before, -1}, {gap.after, 1}, {n, gap.lever[k]}}};
            for (const auto& [i, x] : row) {
                slope.at<double>(i) += w * x * gap.size[k];
                for (const auto& [j, y] : row) curvature.at<double>(i, j) += w * x * y;
            }
        }
    }

    // A priori an excess is what blur brings in from round the camera's dark shape, or, where a band does not show that shape, a mirrored room.
    void add_prior(const std::vector<Darkest>& dark, double unresolved) {
        std::vector<int> unshaded;
        for (int i = 0; i < n; ++i) {
            const Darkest& d = dark[static_cast<std::size_t>(i)];
            double expected = room_mirror, deviation = room_unevenness;
            if (d.shaded > 0.1) {
                expected = unresolved * d.surround / (1 - unresolved);
                deviation = expected + least_excess;
            } else if (d.looked_farther) {
                deviation = room_mirror_error;  // sees another part of the room than the others
            } else {
                unshaded.push_back(i);
            }
            curvature.at<double>(i, i) += 1 / (deviation * deviation);
            slope.at<double>(i) += expected / (deviation * deviation);
        }
        // The room's own error is common to them (the inverse of a diagonal plus a constant: Sherman and Morrison 1950).
        const double local = 1 / (room_unevenness * room_unevenness),
                     common = room_mirror_error * room_mirror_error;
        const double tie = common * local * local / (1 + static_cast<double>(unshaded.size()) * common * local);
        for (const int i : unshaded)
            for (const int j : unshaded) {
                curvature.at<double>(i, j) -= tie;
                slope.at<double>(i) -= tie * room_mirror;
            }
    }

    // Each excess neither negative nor more than leaves a body some light.
    void solve(std::vector<double>& excess, double& shading_off, const std::vector<double>& most) const {
        const auto settled = [&](int i) {  // where its row has it, the others as they are
            double right = slope.at<double>(i) - (i < n ? curvature.at<double>(i, n) * shading_off : 0.0);
            for (int j = 0; j < n; ++j)
                if (j != i) right -= curvature.at<double>(i, j) * excess[static_cast<std::size_t>(j)];
            return right / curvature.at<double>(i, i);
        };
        for (int round = 0; round < 500; ++round) {
            shading_off = settled(n);
            for (int i = 0; i < n; ++i) {
                const auto band = static_cast<std::size_t>(i);
                excess[band] = std::clamp(settled(i), 0.0, most[band]);
            }
        }
    }

    int n;
    cv::Mat curvature, slope;
};

// Excess of each band's darkest place, as a share of white (what is mirrored has the lights' colours): least squares on the steps between bands, whose shading
// may be wrong by one factor. Which steps count is judged from the room's own light on.
struct Excesses {
    std::vector<double> value, variance;
};
Excesses find_excesses(const std::vector<Darkest>& dark, const std::vector<Pair>& pairs, const CameraFit& fit,
                       const Vector3& white, const CameraShade& shade) {
    constexpr int rounds = 6;
    const std::vector<Gap> gaps = gaps_of(pairs, dark, white);
    std::vector<double> most;
    for (const Darkest& d : dark) most.push_back(most_excess(d.value, fit, white));
    Excesses out{std::vector<double>(dark.size(), room_mirror), {}};
    double shading_off = 0;
    for (int round = 0; round < rounds; ++round) {
        ExcessEquations equations(dark.size());
        for (const Gap& gap : gaps) equations.add(gap, gap.weight(out.value, shading_off));
        equations.add_prior(dark, std::min(shade.unresolved, 0.6));
        equations.solve(out.value, shading_off, most);
        if (round + 1 < rounds) continue;
        cv::Mat covariance;
        cv::invert(equations.curvature, covariance, cv::DECOMP_SVD);
        for (int i = 0; i < equations.n; ++i) out.variance.push_back(covariance.at<double>(i, i));
    }
    return out;
}

}  // namespace

CameraShade camera_shade(const Rod& rod, const CardPose& pose, double blur_px) {
    const CardSpace lens = pose.camera_position();
    CameraShade out;
    out.s_mm = lens.x - rod.opening_x_mm;
    // A mirror shows twice the angle through which it turns, and twice the way along which it lies.
    out.reach_mm = camera_half_mm / 2;
    out.reach_theta = std::atan(camera_half_mm / lens.z) / 2;
    const double half_px =
        out.reach_theta * rod.radius_at(std::clamp(out.s_mm, rod.s_begin, rod.s_end)) * pose.px_per_mm;
    out.unresolved = std::erfc(half_px / (std::sqrt(2.0) * blur_px));
    return out;
}

std::vector<BodyColour> body_colours(const Skin& skin, const std::vector<Segment>& segments,
                                     const CameraFit& fit, double facing_theta, const CameraShade& camera,
                                     const KnownSegments& known) {
    if (segments.empty() || skin.columns == 0) return {};
    const Vector3 white = fit.response_to(XYZ<D50>::white()).vector();
    std::vector<bool> metallic(segments.size(), false);
    for (const std::size_t i : known.metallic) metallic[i] = true;

    std::vector<Pair> pairs;
    for (std::size_t i = 0; i < segments.size(); ++i)
        for (std::size_t j = i + 1; j < segments.size(); ++j) {
            // Across metallic thread too, whose own steps tell no shading.
            const bool over_film = std::all_of(metallic.begin() + static_cast<std::ptrdiff_t>(i + 1), metallic.begin() + static_cast<std::ptrdiff_t>(j), [](bool m) { return m; });
            if (segments[j].begin_mm - segments[i].end_mm > farthest_pair_mm && !over_film) break;
            pairs.push_back(step_between(skin, segments, i, j, white));
            pairs.back().matt = !metallic[i] && !metallic[j];
        }
    const RodShading lit = fit_shading(skin.theta, pairs, white);
    const Shadings& shading = lit.by_channel;

    std::vector<Darkest> dark;
    for (const Segment& s : segments)
        dark.push_back(
            darkest_place(skin, s, shading, fit, white, facing_theta, lit.told ? body_reach : lone_reach, camera));
    for (std::size_t i = 1; i < known.alike.size(); ++i) {
        Pair same;
        same.before = known.alike[i - 1];
        same.after = known.alike[i];
        same.alike = true;
        for (std::size_t k = 0; k < 3; ++k) same.step[k].error = alike_error * white[k];
        pairs.push_back(same);
    }
    const Excesses excess = find_excesses(dark, pairs, fit, white, camera);
    const double shade_error = std::hypot(lit.told ? shading_error : lone_shading_error, level_error, known.outline_doubt);
    const auto doubts_of = [&](std::size_t segment, const Vector3& colour) {
        const double mirrored = dark_mirror_error * dark_mirror_error + excess.variance[segment];
        const double tint = room_tint * (excess.value[segment] + dark_mirror);
        const double shade = std::hypot(shade_error, dark[segment].looked_farther ? farther_shading_error : 0.0);
        ResponseParts out;
        for (std::size_t a = 0; a < 3; ++a)
            for (std::size_t b = 0; b < 3; ++b) {
                // Shading scales all channels alike; what is mirrored has the lights' colours: both are common to the channels.
                out.shading(a, b) = shade * shade * colour[a] * colour[b];
                out.mirrored(a, b) = (mirrored + (a == b ? tint * tint : 0.0)) * white[a] * white[b];
                out.pixels(a, b) = a == b ? dark[segment].variance[a] : 0.0;
            }
        return out;
    };

    std::vector<BodyColour> out;
    for (std::size_t i = 0; i < segments.size(); ++i) {
        BodyColour body;
        Vector3 colour{};
        for (std::size_t k = 0; k < 3; ++k) body.shade[k] = shading[k](facing_theta);
        for (std::size_t k = 0; k < 3; ++k) {
            body.taken_off[k] = (excess.value[i] + dark_mirror) * white[k];
            colour[k] = dark[i].seen ? (dark[i].value[k] - body.taken_off[k]) / coat_entry : std::numeric_limits<double>::quiet_NaN();
        }
        body.linear = CameraRgb::from(colour);
        body.covariance = doubts_of(i, colour);
        for (const Pair& pair : pairs)
            if (!pair.alike && pair.after == i && pair.before + 1 == i)
                for (std::size_t k = 0; k < 3; ++k) {
                    const Contrast& step = pair.step[k];
                    body.step[k] = step.size;
                    const double misfit = step.error / std::max(std::abs(step.size), 1e-6 * white[k]);
                    body.step_misfit = k == 0 ? misfit : std::min(body.step_misfit, misfit);
                    body.step_error = std::max(body.step_error, step.error / white[k]);
                }
        if (dark[i].looked_farther)
            body.warnings.push_back("a streak lies where it faces the camera: the colour is taken beside it, and is less sure. Turn the rod's end, or move the lamp or the camera");
        if (!lit.told)
            body.warnings.push_back(
                "only one colour on the rod: its gloss could not be told from its body colour by comparison");
        out.push_back(std::move(body));
    }

    std::vector<CameraRgb> colours;
    for (const BodyColour& body : out) colours.push_back(body.linear);
    for (const std::size_t i : known.metallic) {
        const auto looks = looks_round(skin.theta, i, pairs, metallic, colours, shading, white, coat_entry, facing_theta);
        if (!looks) continue;
        // Less than nothing comes back from no film: the steps were misjudged, and what glittered was noise or texture.
        if (const XYZ<D50> least = fit.to_xyz(looks->flop); std::min({least.X, least.Y, least.Z}) <= 0) {
            KnownSegments matt = known;
            std::erase(matt.metallic, i);
            return body_colours(skin, segments, fit, facing_theta, camera, matt);
        }
        const Vector3 face = looks->face.vector(), flop = looks->flop.vector();
        Vector3 middle, half;
        for (std::size_t k = 0; k < 3; ++k) {
            middle[k] = (face[k] + flop[k]) / 2;
            half[k] = (face[k] - flop[k]) / 2;
        }
        out[i].looks = looks;
        out[i].linear = CameraRgb::from(middle);
        out[i].looks_covariance = out[i].covariance = doubts_of(i, middle);
        for (std::size_t a = 0; a < 3; ++a)
            for (std::size_t b = 0; b < 3; ++b) out[i].covariance.shading(a, b) +=
                within_looks * within_looks * half[a] * half[b] + beyond_looks * beyond_looks * middle[a] * middle[b];
    }
    return out;
}

std::vector<Lab<D50>> labs_of(const std::vector<BodyColour>& bodies, const CameraFit& fit) {
    std::vector<Lab<D50>> out;
    for (const BodyColour& body : bodies) out.push_back(to_lab(fit.to_xyz(body.linear)));
    return out;
}

}  // namespace bindhue::capture

#include "wrap/bands.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "colour/difference.hpp"
#include "colour/quantile.hpp"
#include "wrap/added_light.hpp"

namespace bindhue::capture {
namespace {

constexpr double same_colour = 6.0;     // CIELAB distance within which two runs are the same bare blank
// Both ends of a rod mirror a room, and not the same part of it: as shares of white what one may mirror more than the other, and how its light may differ
// (guesses; on four rendered photos of seeds 854000 to 854049 ends of one blank differed by 0.007 to 0.013 of white); what neither explains, of the darker one, and of what is mirrored, since a room has colours.
constexpr double most_mirrored_apart = 0.02, most_lit_apart = 0.1, as_one = 0.03;
constexpr double widest_trim_mm = 4.0;  // from memory: trims are 1 to 4 mm
constexpr double finest_pitch_mm = 0.09, coarsest_pitch_mm = 0.5;  // of rod thread, sizes 00 to EE

Vector3 of_white(const Lab<D50>& lab) {
    const XYZ<D50> c = to_xyz(lab);
    return {c.X / D50::X, c.Y / D50::Y, c.Z / D50::Z};
}

bool ends_alike(const Lab<D50>& one, const Lab<D50>& other) {
    if (cie1976(one, other) <= same_colour) return true;
    const bool darker = one.L < other.L;
    const AddedLight added = added_light(of_white(darker ? other : one), of_white(darker ? one : other), most_lit_apart);
    return std::abs(added.level) <= most_mirrored_apart && added.left < as_one * added.size + room_tint * std::abs(added.level);
}

// Detail along the rod, summed round the strip that faces the camera: power at each pitch by direct Fourier
// sums.
Texture texture_of(const Skin& skin, const Segment& segment, double facing_theta, double px_per_mm) {
    Texture out;
    const double margin = std::min(0.4, 0.2 * segment.length_mm());
    std::vector<double> line;
    for (std::size_t c = 0; c < skin.columns; ++c) {
        const double s = skin.s_of(c);
        if (s < segment.begin_mm + margin || s > segment.end_mm - margin) continue;
        double sum = 0, n = 0;
        for (std::size_t r = 0; r < skin.theta.size(); ++r) {
            const Vector3& v = skin.at(r, c);
            if (std::abs(skin.theta[r] - facing_theta) > 0.2 || !std::isfinite(v[0])) continue;
            sum += v[0] + v[1] + v[2];
            n += 1;
        }
        if (n > 0) line.push_back(sum / n);
    }
    const auto size = static_cast<double>(line.size());
    if (size * skin.ds < 1.5) return out;
    // Detail: what a running mean over half a millimetre leaves.
    const auto half = static_cast<std::size_t>(std::max(1.0, 0.25 / skin.ds));
    std::vector<double> detail;
    double mean = 0;
    for (std::size_t i = half; i + half < line.size(); ++i) {
        double local = 0;
        for (std::size_t k = i - half; k <= i + half; ++k) local += line[k];
        local /= static_cast<double>(2 * half + 1);
        detail.push_back(line[i] - local);
        mean += line[i];
    }
    if (detail.size() < 16) return out;
    mean /= static_cast<double>(detail.size());
    double squares = 0;
    for (const double d : detail) squares += d * d;
    out.energy = std::sqrt(squares / static_cast<double>(detail.size())) / std::max(mean, 1e-9);

    // Three pixels a turn is the least that a lens and a Bayer pattern pass.
    const double finest = std::max(finest_pitch_mm, 3.0 / px_per_mm);
    const double length = skin.ds * static_cast<double>(detail.size());
    for (std::size_t i = 0; i < detail.size(); ++i)
        detail[i] *= 0.5 - 0.5 * std::cos(2 * std::numbers::pi * (static_cast<double>(i) + 0.5) / static_cast<double>(detail.size()));
    std::vector<double> powers;
    double best = 0, best_frequency = 0;
    const double step = 0.25 / length;
    for (double f = 1 / coarsest_pitch_mm; f <= 1 / finest; f += step) {
        const double turn = -2 * std::numbers::pi * f * skin.ds, cosine = std::cos(turn), sine = std::sin(turn);
        double x = 1, y = 0, real = 0, imaginary = 0;  // each place's phase is the one before, turned: no sine a place
        for (const double d : detail) {
            real += d * x;
            imaginary += d * y;
            const double next = x * cosine - y * sine;
            y = x * sine + y * cosine;
            x = next;
        }
        const double power = real * real + imaginary * imaginary;
        powers.push_back(power);
        if (power > best) {
            best = power;
            best_frequency = f;
        }
    }
    if (powers.size() < 8) return out;
    // The largest of some hundred powers of noise reaches about ten times their median; a thread's line
    // stands far above.
    if (best > 40 * median(std::move(powers))) out.pitch_mm = 1 / best_frequency;
    return out;
}

}  // namespace

std::vector<Texture> textures_of(const Skin& skin, const std::vector<Segment>& segments, double facing_theta, double px_per_mm) {
    std::vector<Texture> out;
    for (const Segment& segment : segments) out.push_back(texture_of(skin, segment, facing_theta, px_per_mm));
    return out;
}

std::vector<BandFeatures> name_bands(const std::vector<Segment>& segments, const std::vector<Texture>& textures, const std::vector<Lab<D50>>& labs) {
    std::vector<BandFeatures> out(segments.size());
    if (segments.empty()) return out;
    for (std::size_t i = 0; i < segments.size(); ++i) out[i].pitch_mm = textures[i].pitch_mm;

    const std::size_t last = segments.size() - 1;
    std::vector<std::size_t> blanks{0};
    if (ends_alike(labs[0], labs[last])) {
        blanks.push_back(last);
    } else {
        const auto wound = [&](std::size_t i) {
            return (textures[i].pitch_mm ? 1.0 : 0.0) + textures[i].energy;
        };
        if (wound(0) > wound(last)) blanks = {last};
    }
    for (std::size_t i = 0; i < segments.size(); ++i)
        if (std::ranges::any_of(blanks, [&](std::size_t b) { return cie1976(labs[i], labs[b]) < same_colour; }) && !(textures[i].pitch_mm && i != blanks.front()))
            out[i].role = BandRole::blank;
    // A rod of one colour end to end, with a thread's texture, is wrapped all along.
    if (segments.size() == 1 && textures[0].pitch_mm) out[0].role = BandRole::wrap;

    for (std::size_t i = 0; i < segments.size(); ++i) {
        if (out[i].role == BandRole::blank) {
            out[i].pitch_mm.reset();
            continue;
        }
        const auto longer_wrap = [&](std::size_t j) {
            return out[j].role == BandRole::wrap && segments[j].length_mm() > 1.5 * segments[i].length_mm();
        };
        if (segments[i].length_mm() <= widest_trim_mm &&
            ((i > 0 && longer_wrap(i - 1)) || (i < last && longer_wrap(i + 1))))
            out[i].role = BandRole::trim;
    }
    return out;
}

}  // namespace bindhue::capture

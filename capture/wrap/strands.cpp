#include "wrap/strands.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <span>

#include "colour/quantile.hpp"
#include "wrap/waves.hpp"

namespace bindhue::capture {
namespace {

constexpr double pi = std::numbers::pi;
constexpr double edge_mm = 0.4;           // beside an edge, left out
constexpr double least_length_mm = 4.0;
constexpr double usual_blur_mm = 0.15;  // a sharper picture is made as soft: single turns and the sharp sides of stripes are no part of the wave
// Cycles per millimetre. Slanted stripes are those that show one in a window along the rod; round it they must show nearly one, unlike rings of thread, and others over one
// and a half, unlike a light's broad streak.
constexpr double least_slant = 0.25, least_round = 0.2, least_straight = 0.4, tiny = 1e-9;

// Tuned on rendered photos (two-coloured: seeds 840000 to 840005, 841000 to 841011 and 842000 to 842009; of one colour: linear and phone, fair, 700000 to 700035 and
// 710000 to 710035), as the frequencies above: of the spread in a window that one wave explains; its height, a share of white; of the windows that must show one.
constexpr double least_explained = 0.65, least_height = 0.004, least_windows = 0.25;
// Tuned on the same, of a run that is joined: how much its stripes vary round the rod, of the wrap's variance; how far its mean may lie from the wrap's along the way
// between the two colours and beside it, of that way.
constexpr double least_like = 0.3, most_beyond = 0.25, most_beside = 0.3;
// A guess: two strands twisted together are mostly alike in size.
constexpr double usual_share = 0.5, share_deviation = 0.15;
// Of the lopsidedness (skewness) of a window's values; of the blur's standard deviation, relative; of the way from one colour to the other, relative, by channel. Widened
// until the colours' regions held on the photos of two-coloured thread named above.
constexpr double skewness_error = 0.3, blur_error = 0.15, direction_error = 0.1;

double mean_of(const Vector3& v) { return (v[0] + v[1] + v[2]) / 3; }

// Skewness of a pattern that is high for a share of its repeat and low for the rest, where blur leaves so much of its first harmonic (that of a
// pulse train's n-th is sin(pi n share) 2 / (pi n)).
double skewness_of(double share, double left) {
    double second = 0, third = 0;
    constexpr int places = 64;
    for (int i = 0; i < places; ++i) {
        double v = 0;
        for (int n = 1; n <= 4; ++n) v += std::sin(pi * n * share) / n * std::pow(left, n * n) * std::cos(2 * pi * n * i / places);
        second += v * v / places;
        third += v * v * v / places;
    }
    return third / std::pow(second, 1.5);
}

// Of the second colour, by the lopsidedness of what is seen.
struct Share {
    double value = 0, error = 0;
};
Share share_of(double skewness, double left) {
    double total = 0, sum = 0, squares = 0;
    for (double share = 0.1; share < 0.905; share += 0.01) {
        const double off = (skewness_of(share, left) - skewness) / skewness_error, unusual = (share - usual_share) / share_deviation;
        const double p = std::exp(-0.5 * (off * off + unusual * unusual));
        total += p;
        sum += p * share;
        squares += p * share * share;
    }
    const double mean = sum / total;
    return {mean, std::sqrt(std::max(0.0, squares / total - mean * mean))};
}

// The part of a small change that a picture holds finely: of lightness. An encoded file holds lightness as it is encoded: the same change of all
// channels there is in linear light the larger, the lighter a channel is.
Vector3 light_of(const Vector3& change, const Vector3& mean, bool encoded) {
    if (!encoded) {
        const double light = mean_of(change);
        return {light, light, light};
    }
    constexpr Vector3 luma{0.299, 0.587, 0.114};  // JFIF (ITU-R BT.601)
    constexpr double usual_gamma = 2.2;
    Vector3 slope, out;
    double light = 0;
    for (std::size_t k = 0; k < 3; ++k) {
        slope[k] = std::pow(std::max(mean[k], 0.01), 1 - 1 / usual_gamma);
        light += luma[k] * change[k] / slope[k];
    }
    for (std::size_t k = 0; k < 3; ++k) out[k] = light * slope[k];
    return out;
}

// The part of the differences of channels that tells how much of the way between the colours a place shows; none where they differ too little but in lightness, by which a
// pixel's stripe is not told from its gloss.
std::optional<Signal> telling_chroma(const Vector3& direction) {
    constexpr double most_told = 6;  // of a channel, by how much chroma; chosen on the photos named above
    const double light = mean_of(direction);
    Signal out;
    double size = 0, largest = 0;
    for (std::size_t k = 0; k < 3; ++k) {
        out.axis[k] = direction[k] - light;
        size += out.axis[k] * out.axis[k];
        largest = std::max(largest, std::abs(direction[k]));
    }
    if (!(std::sqrt(size) > largest / most_told)) return std::nullopt;
    for (double& a : out.axis) a /= size;
    return out;
}

// Two colours that no surface has, or that nobody would tell apart: beside a streak its flank may pass for a stripe. Of the way from their mean to one of them
// three tenths and more lie outside nought and all light; or they are apart by under a twelfth of what their mean sends back. Chosen on rendered photos (seeds 750000 to 750039
// and 842000 to 842015), where of true ones 0.86 and more of the way lay within and they were 0.14 and more apart, and of false ones under 0.65, or 0.05 apart.
bool may_be_thread(const Vector3& mean, const Vector3& apart, double share, const Vector3& white) {
    constexpr double least_within = 0.7, least_apart = 0.08;
    double within = 1, most = 0;
    for (std::size_t k = 0; k < 3; ++k) {
        const double step = apart[k] / white[k];
        for (const double off : {-share * step, (1 - share) * step})
            if (off != 0) within = std::min(within, off > 0 ? (1 - mean[k]) / off : mean[k] / -off);
        most = std::max(most, std::abs(step) / mean[k]);
    }
    return within > least_within && most > least_apart;
}

struct Stripes {
    TwoColours colours;
    Signal signal;
    Vector3 direction{};  // of each channel, what goes with the signal, as seen
    std::optional<Signal> telling;  // of the way between the colours
    Vector3 seen{};       // how far the colours seem to lie apart, where blur has left them so; shares of white
};

std::optional<Stripes> stripes_in(Cells cells, const Signal& signal, StripeSight sight) {
    const double& blur = signal.chroma ? sight.chroma_blur_mm : sight.blur_mm;
    if (blur < usual_blur_mm) {
        const double more_mm = std::sqrt(usual_blur_mm * usual_blur_mm - blur * blur);
        soften(cells, more_mm);
        sight.blur_mm = std::hypot(sight.blur_mm, more_mm);
        sight.chroma_blur_mm = std::hypot(sight.chroma_blur_mm, more_mm);
    }
    const WaveSearch search(cells, blur, signal.chroma ? 0 : least_slant);
    std::vector<Wave> waves = search.all(signal);
    const auto all = static_cast<double>(waves.size());
    // Slower waves are sought too: the flank of a light's broad shape is no wave of its own.
    std::erase_if(waves, [](const Wave& w) {
        const double least = std::abs(w.along) < least_slant ? least_straight : least_round;
        return w.round < least - tiny || w.explained < least_explained || w.height < least_height;
    });
    if (static_cast<double>(waves.size()) < least_windows * all || waves.empty()) return std::nullopt;

    Stripes out;
    out.signal = signal;
    double power = 0, variance = 0, third = 0;
    // The longest waves tell best how high they would be without blur.
    std::sort(waves.begin(), waves.end(), [](const Wave& a, const Wave& b) { return a.frequency() < b.frequency(); });
    waves.resize(std::max<std::size_t>(1, waves.size() / 3));
    std::vector<double> heights, frequencies;
    for (const Wave& w : waves) {
        search.add_direction(signal, w, out.direction, power);
        heights.push_back(w.height / (left_by_blur(w.frequency(), blur) * w.cosine));
        frequencies.push_back(w.frequency());
        variance += w.variance;
        third += w.third;
    }
    const auto n = static_cast<double>(waves.size());
    for (double& d : out.direction) d /= power;
    out.telling = telling_chroma(out.direction);
    variance /= n;
    const double frequency = median(frequencies), left = left_by_blur(frequency, blur);
    const Share share = share_of(third / n / std::pow(variance, 1.5), left);
    // A pulse train's first harmonic.
    const double apart = median(heights) * pi / (2 * std::sin(pi * share.value));
    const double chroma_gain = left / left_by_blur(frequency, sight.chroma_blur_mm), light_gain = left / left_by_blur(frequency, sight.blur_mm);
    Vector3 of_light, of_chroma;
    const Vector3 light = light_of(out.direction, cells.mean, sight.encoded);
    for (std::size_t k = 0; k < 3; ++k) {
        out.seen[k] = apart * left * out.direction[k];
        of_light[k] = apart * light_gain * light[k] * sight.white[k];
        of_chroma[k] = apart * chroma_gain * (out.direction[k] - light[k]) * sight.white[k];
        out.colours.apart[k] = of_light[k] + of_chroma[k];
    }
    // A streak's flank goes along the rod, and is seen by what little colour it has.
    if (!out.telling && std::ranges::all_of(waves, [](const Wave& w) { return std::abs(w.along) < least_slant; })) return std::nullopt;
    if (!may_be_thread(cells.mean, out.colours.apart, share.value, sight.white)) return std::nullopt;
    // The logarithm of what blur leaves goes with the blur's square.
    const double light_error = 2 * blur_error * std::log(1 / left_by_blur(frequency, sight.blur_mm)),
                 chroma_error = 2 * blur_error * std::log(1 / left_by_blur(frequency, sight.chroma_blur_mm));
    double size = 0;
    for (const double a : out.colours.apart) size += a * a / 3;
    for (std::size_t a = 0; a < 3; ++a)
        for (std::size_t b = 0; b < 3; ++b)
            out.colours.apart_covariance(a, b) = light_error * light_error * of_light[a] * of_light[b] + chroma_error * chroma_error * of_chroma[a] * of_chroma[b] +
                                                 (a == b ? direction_error * direction_error * size : 0.0);
    out.colours.share = share.value;
    out.colours.share_error = share.error;
    return out;
}

std::optional<Stripes> find_stripes(const Face& face, const StripeSight& sight) {
    const Cells cells = cells_of(face);
    if (cells.rows < fewest_cells || cells.columns < fewest_cells) return std::nullopt;
    if (auto found = stripes_in(cells, chroma_of(cells), sight)) return found;
    return stripes_in(cells, lightness, sight);
}

bool is_short(const Segment& run) { return run.length_mm() < least_length_mm + 2 * edge_mm; }

std::optional<Face> inner_face(const Skin& skin, const Segment& run, const StripeSight& sight) {
    if (is_short(run)) return std::nullopt;
    return face_of(skin, run.begin_mm + edge_mm, run.end_mm - edge_mm, sight.white, sight.facing_theta, sight.radius_mm);
}

// How much a signal varies round the rod, from place to place along it. Bands side by side do not.
double variance_round(const Face& face, const Signal& signal) {
    double out = 0;
    for (std::size_t c = 0; c < face.columns; ++c) {
        double sum = 0, squares = 0;
        for (std::size_t r = 0; r < face.rows; ++r) {
            const double v = signal(face.left[r * face.columns + c]);
            sum += v;
            squares += v * v;
        }
        out += squares - sum * sum / static_cast<double>(face.rows);
    }
    return out / static_cast<double>(face.left.size());
}

// Do runs beside a wrap show its stripes? Wide ones look like bands.
bool goes_on(const Skin& skin, const Segment& beside, const Face& wrap, const Stripes& stripes, const StripeSight& sight) {
    if (!stripes.telling) return false;
    const double margin = std::min(edge_mm, beside.length_mm() / 4);
    const auto face = face_of(skin, beside.begin_mm + margin, beside.end_mm - margin, sight.white, sight.facing_theta, sight.radius_mm);
    if (!face || variance_round(*face, *stripes.telling) < least_like * variance_round(wrap, *stripes.telling)) return false;
    Vector3 off;
    for (std::size_t k = 0; k < 3; ++k) off[k] = face->mean[k] - wrap.mean[k];
    double along = 0, apart = 0, away = 0;
    for (std::size_t k = 0; k < 3; ++k) {
        along += off[k] * stripes.seen[k];
        apart += stripes.seen[k] * stripes.seen[k];
        away += off[k] * off[k];
    }
    along /= apart;
    return std::abs(along) < most_beyond && away / apart - along * along < most_beside * most_beside;
}

// So short a run may be a part of one stripe; not longer than the narrowest trims, about.
bool is_one_stripe(const Segment& run) { return run.length_mm() < 1.2; }

// Up to three runs at a time, the least first: a single one may be a part of one stripe.
std::size_t runs_going_on(const Skin& skin, std::span<const Segment> runs, bool after, const Face& wrap, const Stripes& stripes, const StripeSight& sight) {
    std::size_t joined = 0;
    for (std::size_t more = 1; more <= 3 && joined + more <= runs.size();) {
        const auto part = after ? runs.subspan(joined, more) : runs.subspan(runs.size() - joined - more, more);
        const Segment& far = after ? part.back() : part.front();
        const auto nearer = after ? part.first(more - 1) : part.last(more - 1);
        const bool far_goes_on = is_short(far) || (std::ranges::all_of(nearer, is_one_stripe) && goes_on(skin, far, wrap, stripes, sight));
        if (!std::ranges::all_of(nearer, is_short)) break;
        if (far_goes_on && goes_on(skin, {part.front().begin_mm, part.back().end_mm}, wrap, stripes, sight)) {
            joined += more;
            more = 1;
        } else {
            ++more;
        }
    }
    return joined;
}

}  // namespace

std::optional<TwoColours> two_colours(const Skin& skin, const Segment& run, const StripeSight& sight) {
    const auto face = inner_face(skin, run, sight);
    if (!face) return std::nullopt;
    const auto stripes = find_stripes(*face, sight);
    return stripes ? std::optional(stripes->colours) : std::nullopt;
}

std::vector<TwoColouredWrap> take_stripes_off(Skin& skin, std::vector<Segment>& runs, const StripeSight& sight, bool join) {
    std::vector<TwoColouredWrap> out;
    for (std::size_t i = 0; i < runs.size(); ++i) {
        // Wide stripes look like bands: several that are too short by themselves may be one wrap.
        std::size_t first = i, end = i + 1;
        while (join && is_short(runs[i]) && end < runs.size() && is_short(runs[end])) ++end;
        auto face = inner_face(skin, {runs[first].begin_mm, runs[end - 1].end_mm}, sight);
        auto stripes = face ? find_stripes(*face, sight) : std::nullopt;
        if (!stripes) continue;
        const auto try_runs = [&](std::size_t from, std::size_t to) {
            auto whole = inner_face(skin, {runs[from].begin_mm, runs[to - 1].end_mm}, sight);
            auto found = whole ? find_stripes(*whole, sight) : std::nullopt;
            if (!found || (stripes->signal.chroma && !found->signal.chroma)) return false;
            first = from;
            end = to;
            face = std::move(whole);
            stripes = std::move(found);
            return true;
        };
        if (join) {
            const auto alone = [&](const Segment& run) { return !goes_on(skin, run, *face, *stripes, sight); };
            bool striped = true;
            while (striped && end > first + 1 && (alone(runs[first]) || alone(runs[end - 1])))
                striped = alone(runs[first]) ? try_runs(first + 1, end) : try_runs(first, end - 1);
            if (!striped) continue;
            const std::span<const Segment> all(runs);
            const std::size_t to = end + runs_going_on(skin, all.subspan(end), true, *face, *stripes, sight),
                              from = first - runs_going_on(skin, all.first(first), false, *face, *stripes, sight);
            if (from != first || to != end) try_runs(from, to);
        }
        runs[first].end_mm = runs[end - 1].end_mm;
        runs.erase(runs.begin() + static_cast<std::ptrdiff_t>(first + 1), runs.begin() + static_cast<std::ptrdiff_t>(end));
        i = first;
        out.push_back({runs[i].begin_mm, runs[i].end_mm, stripes->colours});
        for (std::size_t at = 0; stripes->telling && at < face->left.size(); ++at) {
            Vector3& v = skin.values[(face->first_row + at / face->columns) * skin.columns + face->first_column + at % face->columns];
            const double along = (*stripes->telling)(face->left[at]);
            for (std::size_t k = 0; k < 3; ++k) v[k] -= along * stripes->direction[k] * sight.white[k];
        }
    }
    return out;
}

}  // namespace bindhue::capture

#include "reading/several.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>

#include "colour/difference.hpp"
#include "wrap/rod.hpp"

namespace bindhue::capture {
namespace {

constexpr double same_edge_mm = 0.8;
// CIELAB distance at which two bands are as likely one as two: readings under unlike lights differ by several.
constexpr double unlike = 12;
constexpr double beyond_chance = 11.34;  // 99 % point of chi squared, three degrees of freedom

double end_mm(const BandReading& band) { return band.start_mm + band.length_mm; }

double overlap(const BandReading& one, const BandReading& other, double shift) {
    return std::min(end_mm(one), end_mm(other) + shift) - std::max(one.start_mm, other.start_mm + shift);
}

// Agreement of two rows of bands: millimetres that agree in colour less those that do not, and a bonus for
// each edge between bands that meets another.
double agreement(std::span<const BandReading> one, std::span<const BandReading> other, double shift) {
    constexpr double edge_bonus_mm = 5, wander = 0.02;
    double score = -wander * std::abs(shift), seen = 0;
    for (const BandReading& a : one)
        for (const BandReading& b : other) {
            const double both = overlap(a, b, shift);
            if (both <= 0) continue;
            const double apart = cie1976(a.colour.lab, b.colour.lab) / unlike;
            score += both * (2 * std::exp(-std::log(2.0) * apart * apart) - 1);
            seen += both;
        }
    for (std::size_t i = 1; i < one.size(); ++i)
        for (std::size_t j = 1; j < other.size(); ++j)
            if (std::abs(one[i].start_mm - other[j].start_mm - shift) < same_edge_mm) score += edge_bonus_mm;
    const double whole =
        std::min(end_mm(one.back()) - one.front().start_mm, end_mm(other.back()) - other.front().start_mm);
    return seen < 0.4 * whole ? -1 : score;
}

const BandReading* partner(const BandReading& band, std::span<const BandReading> others, double shift) {
    for (const BandReading& other : others) {
        const double both = overlap(band, other, shift);
        if (both > 0.5 * (band.length_mm + other.length_mm - both)) return &other;
    }
    return nullptr;
}

// Both colours of a two-coloured thread, where every photo told them.
std::vector<StrandReading> merged_strands(const std::vector<BandReading>& seen) {
    std::vector<StrandReading> out = seen.front().strands;
    if (out.size() != 2) return {};
    std::array<std::vector<Reading>, 2> readings;
    double share = 0;
    for (const BandReading& b : seen) {
        if (b.strands.size() != 2) return {};
        // Which of them a photo has first is not said.
        const auto apart = [&](std::size_t i, std::size_t j) { return cie1976(out[i].colour.lab, b.strands[j].colour.lab); };
        const bool turned = apart(0, 1) + apart(1, 0) < apart(0, 0) + apart(1, 1);
        for (std::size_t i = 0; i < 2; ++i) readings[i].push_back(b.strands[turned ? 1 - i : i].colour);
        share += b.strands[turned ? 0 : 1].share / static_cast<double>(seen.size());
    }
    for (std::size_t i = 0; i < 2; ++i) out[i] = {combine(readings[i]), i == 0 ? 1 - share : share};
    return out;
}

// Metallic thread's lightest and darkest look in any photo.
std::optional<LooksReading> merged_looks(const std::vector<BandReading>& seen) {
    std::optional<LooksReading> out;
    for (const BandReading& b : seen) {
        if (!b.looks) continue;
        if (!out) out = b.looks;
        if (b.looks->face.lab.L > out->face.lab.L) out->face = b.looks->face;
        if (b.looks->flop.lab.L < out->flop.lab.L) out->flop = b.looks->flop;
    }
    return out;
}

void merge(BandReading& band, const std::vector<BandReading>& seen, const std::vector<std::string>& photos) {
    band.looks = merged_looks(seen);
    std::vector<Reading> readings;
    double length = 0;
    for (const BandReading& b : seen) {
        // A photo that did not tell that a thread is metallic shows it at one angle, and knows no better.
        if (!band.looks || b.looks) readings.push_back(b.colour);
        length += b.length_mm / static_cast<double>(seen.size());
    }
    double worst = 0;
    std::pair<std::size_t, std::size_t> between{};
    for (std::size_t i = 0; i < readings.size(); ++i)
        for (std::size_t j = 0; j < i; ++j)
            if (const double d = disagreement(readings[i], readings[j]); d > worst) {
                worst = d;
                between = {j, i};
            }
    band.colour = combine(readings);
    if (seen.size() > 1) band.covariance_of.reset();
    band.strands = merged_strands(seen);
    band.photos = seen.size();
    band.start_mm += (band.length_mm - length) / 2;
    band.length_mm = length;
    double pitch = 0, pitches = 0;
    for (const BandReading& b : seen)
        if (b.pitch_mm) {
            pitch += *b.pitch_mm;
            pitches += 1;
        }
    if (pitches > 0) band.pitch_mm = pitch / pitches;
    band.warnings.clear();
    for (const BandReading& b : seen)
        for (const std::string& warning : b.warnings)
            if (!(b.looks && warning == in_words(*b.looks)) && std::find(band.warnings.begin(), band.warnings.end(), warning) == band.warnings.end())
                band.warnings.push_back(warning);
    if (band.looks) band.warnings.push_back(in_words(*band.looks));
    if (worst > beyond_chance) {
        char text[64];
        std::snprintf(text, sizeof text, "%.1f CIEDE2000 apart",
                      ciede2000(readings[between.first].lab, readings[between.second].lab));
        band.warnings.push_back("the photos disagree beyond their intervals: " + photos[between.first] +
                                " and " + photos[between.second] + " are " + text);
        // By chi squared over its expectation, three.
        band.colour.covariance = (worst / 3) * band.colour.covariance;
    }
}

Result<WrapReading> read_one(const PhotoToRead& photo, const ReadOptions& options) {
    return photo.bytes.empty() ? read_photo(photo.path, options) : read_photo(photo.bytes, photo.path.string(), options);
}

// Those of the first photo's edges that another shows, at their places in it.
std::vector<double> moved_into(const std::vector<double>& edges_mm, double shift, std::span<const BandReading> others) {
    std::vector<double> out;
    for (const double edge : edges_mm)
        if (edge - shift >= others.front().start_mm + opening_border_mm + shortest_given_band_mm &&
            edge - shift <= end_mm(others.back()) - opening_border_mm - shortest_given_band_mm)
            out.push_back(edge - shift);
    return out;
}

}  // namespace

std::optional<double> shift_between(std::span<const BandReading> one, std::span<const BandReading> other) {
    if (one.empty() || other.empty()) return {};
    double best = 0, best_score = agreement(one, other, 0);
    for (const BandReading& a : one)
        for (const BandReading& b : other)
            for (const double shift : {a.start_mm - b.start_mm, end_mm(a) - end_mm(b)})
                if (const double score = agreement(one, other, shift); score > best_score) {
                    best_score = score;
                    best = shift;
                }
    if (best_score <= 0) return {};
    return best;
}

Result<WrapReading> join_readings(std::vector<WrapReading> readings) {
    std::vector<std::string> names;
    for (const WrapReading& reading : readings)
        names.push_back(std::filesystem::path(reading.photo).filename().string());
    WrapReading out = std::move(readings.front());
    if (readings.size() == 1) return out;

    std::vector<std::vector<BandReading>> seen;
    for (const BandReading& band : out.bands) seen.push_back({band});
    std::vector<std::vector<std::string>> seen_in(seen.size(), {names.front()});
    double diameters = 0, measured = 0;
    const auto count = [&](const std::optional<double>& diameter) {
        diameters += diameter.value_or(0);
        measured += diameter.has_value();
    };
    count(out.blank_diameter_mm);
    out.photos = {out.photo};
    for (std::size_t k = 1; k < readings.size(); ++k) {
        const WrapReading& other = readings[k];
        const std::optional<double> shift = shift_between(out.bands, other.bands);
        if (!shift)
            return Error{Reason::cannot_measure,
                         "this photo does not show the wraps that " + out.photo + " shows", other.photo,
                         "read the photos one by one, or take both of the same place"};
        std::size_t paired = 0;
        for (std::size_t i = 0; i < out.bands.size(); ++i)
            if (const BandReading* found = partner(out.bands[i], other.bands, *shift)) {
                seen[i].push_back(*found);
                seen_in[i].push_back(names[k]);
                ++paired;
            }
        if (paired < other.bands.size())
            out.warnings.push_back(other.photo + " shows " + std::to_string(other.bands.size() - paired) +
                                   " bands that lie on none of the first photo's: they are left out");
        for (const std::string& warning : other.warnings)
            if (std::find(out.warnings.begin(), out.warnings.end(), warning) == out.warnings.end())
                out.warnings.push_back(warning);
        count(other.blank_diameter_mm);
        out.photos.push_back(other.photo);
    }
    for (std::size_t i = 0; i < out.bands.size(); ++i) {
        merge(out.bands[i], seen[i], seen_in[i]);
        if (seen[i].size() < readings.size())
            out.bands[i].warnings.push_back("seen in " + std::to_string(seen[i].size()) + " of " +
                                            std::to_string(readings.size()) + " photos");
    }
    if (measured > 0) out.blank_diameter_mm = diameters / measured;
    return out;
}

Result<WrapReading> read_photos(std::span<const PhotoToRead> photos, const ReadOptions& options) {
    if (photos.size() > 1 && (options.region || options.corners))
        return Error{Reason::bad_value, "a region or corners given by hand belong to one photo",
                     options.region ? "--region" : "--corners", "read the photos one by one"};
    std::vector<WrapReading> readings;
    for (const PhotoToRead& photo : photos) {
        ReadOptions own = options;
        if (!photo.light.empty()) own.light = photo.light;
        if (!readings.empty()) own.edges_mm.reset();
        Result<WrapReading> reading = read_one(photo, own);
        if (!reading) return reading.error();
        if (options.edges_mm && !readings.empty())
            if (const std::optional<double> shift = shift_between(readings.front().bands, reading->bands)) {
                own.edges_mm = moved_into(*options.edges_mm, *shift, reading->bands);
                reading = read_one(photo, own);
                if (!reading) return reading.error();
            }
        if (!readings.empty()) reading->picture.release();
        readings.push_back(std::move(*reading));
    }
    return join_readings(std::move(readings));
}

}  // namespace bindhue::capture

#include "wrap/evenness.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

#include "colour/difference.hpp"
#include "colour/quantile.hpp"

namespace bindhue::capture {
namespace {

constexpr double degree = 0.017453292519943295;
constexpr double reach = 32 * degree, place_theta = 8 * degree;  // round the rod, from facing the camera
constexpr double place_mm = 2, shoulder_mm = 1, shortest_mm = 6;
constexpr std::size_t fewest = 8;
// Of a bright room in the coat: 4 % (Fresnel, n = 1.5) of half of white.
constexpr double most_missing = 0.02;

// A streak in the mirror: so much brighter than beside it, by light of nearly the lights' colours. Chosen on rendered photos (seeds 700000 to 710035 and 830000 to 830529).
constexpr double streak_step = 0.03, streak_factor = 1.5, streak_likeness = 0.6;

struct Place {
    double at_mm = 0;
    Vector3 value{};
};

struct Strip {  // at one angle round the rod
    std::vector<Place> places;
    Vector3 usual{};
};

// Means over one strip along the band, a place each.
std::vector<Place> places_along(const Skin& skin, const std::vector<std::size_t>& rows, double begin_mm, double end_mm) {
    std::vector<Place> out;
    const auto count = static_cast<std::size_t>((end_mm - begin_mm) / place_mm);
    for (std::size_t i = 0; i < count; ++i) {
        const double from = begin_mm + static_cast<double>(i) * (end_mm - begin_mm) / static_cast<double>(count), to = from + (end_mm - begin_mm) / static_cast<double>(count);
        Place place{(from + to) / 2, {}};
        double n = 0;
        for (const std::size_t r : rows)
            for (std::size_t c = skin.column_at(from); c < skin.column_at(to); ++c) {
                const Vector3& v = skin.at(r, c);
                if (!std::isfinite(v[0])) continue;
                for (std::size_t k = 0; k < 3; ++k) place.value[k] += v[k];
                n += 1;
            }
        if (n == 0) continue;
        for (double& v : place.value) v /= n;
        out.push_back(place);
    }
    return out;
}

Vector3 usual_of(const std::vector<Place>& places) {
    Vector3 out;
    for (std::size_t k = 0; k < 3; ++k) {
        std::vector<double> values;
        for (const Place& p : places) values.push_back(p.value[k]);
        out[k] = median(std::move(values));
    }
    return out;
}

}  // namespace

std::optional<Spread> spread_within(const Skin& skin, const Segment& band, const CameraRgb& body, const CameraFit& fit, double facing_theta) {
    if (band.length_mm() < shortest_mm) return std::nullopt;
    const Vector3 white = fit.response_to(XYZ<D50>::white()).vector();
    const Lab<D50> usual = to_lab(fit.to_xyz(body));
    const auto level = [&](const Vector3& v) { return (v[0] / white[0] + v[1] / white[1] + v[2] / white[2]) / 3; };
    std::vector<Strip> strips;
    double darkest = std::numeric_limits<double>::infinity();
    for (double theta = facing_theta - reach; theta < facing_theta + reach - 1e-9; theta += place_theta) {
        std::vector<std::size_t> rows;
        for (std::size_t r = 0; r < skin.theta.size(); ++r)
            if (skin.theta[r] >= theta && skin.theta[r] < theta + place_theta) rows.push_back(r);
        const std::vector<Place> places = places_along(skin, rows, band.begin_mm + shoulder_mm, band.end_mm - shoulder_mm);
        if (places.empty()) continue;
        strips.push_back({places, usual_of(places)});
        darkest = std::min(darkest, level(strips.back().usual));
    }
    std::vector<std::pair<double, double>> distances;  // and where
    for (const Strip& strip : strips) {
        if (level(strip.usual) > streak_factor * darkest + streak_step) continue;
        for (const Place& place : strip.places) {
            Vector3 off;
            double least = std::numeric_limits<double>::infinity(), most = -least;
            for (std::size_t k = 0; k < 3; ++k) {
                off[k] = place.value[k] - strip.usual[k];
                least = std::min(least, off[k] / white[k]);
                most = std::max(most, off[k] / white[k]);
            }
            if (most > streak_step && least > streak_likeness * most) continue;
            const double neutral = std::max(level(off), -most_missing);
            Vector3 here = body.vector();
            for (std::size_t k = 0; k < 3; ++k) here[k] += off[k] - neutral * white[k];
            distances.emplace_back(cie1976(usual, to_lab(fit.to_xyz(CameraRgb::from(here)))), place.at_mm);
        }
    }
    if (distances.size() < fewest) return std::nullopt;
    std::sort(distances.begin(), distances.end());
    return Spread{distances[distances.size() * 9 / 10].first, distances.back().second};
}

}  // namespace bindhue::capture

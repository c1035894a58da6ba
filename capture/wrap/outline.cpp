#include "wrap/outline.hpp"

#include <algorithm>
#include <cmath>

namespace bindhue::capture {
namespace {

// Where the outline of a rod is seen on the card's plane, at its edge with smaller y and the other.
double edge_y(const Rod& rod, double s, const CardSpace& lens, bool lower) {
    const double radius = rod.radius_at(s), across = rod.top(s).y_mm - lens.y, above = lens.z + radius;
    const double half = std::asin(radius / std::hypot(across, above));
    return lens.y + lens.z * std::tan(std::atan2(across, above) + (lower ? half : -half));
}

}  // namespace

std::optional<Rod> bare_rod(const std::vector<Segment>& runs, const OpeningImage& image, const CardPose& pose, const Rod& rod) {
    // A coat reaches a millimetre or so beyond its thread, and wraps stand out by under one: the rod found may be as thick as they are. Chosen on rendered photos, own ones (seeds
    // 1700000 and 1710000 on) and path-traced ones (100 to 125, 5000 to 5017 and as many by phone). slack: of the slopes, which those of the rod found fix already.
    constexpr double coat_mm = 1.5, shortest_mm = 6, inwards_mm = 0.8, outwards_mm = 0.12, most_aside_mm = 0.32, slack = 0.0015;
    std::vector<bool> looked_at(static_cast<std::size_t>(image.look.cols), false);
    double length = 0;
    for (const Segment& run : runs) {
        const double spare = std::min(coat_mm, 0.25 * run.length_mm());
        length += run.length_mm() - 2 * spare;
        for (std::size_t c = 0; c < looked_at.size(); ++c) {
            const double s = image.x_mm(static_cast<double>(c)) - rod.opening_x_mm;
            if (s > run.begin_mm + spare && s < run.end_mm - spare) looked_at[c] = true;
        }
    }
    if (length < shortest_mm) return std::nullopt;
    const EdgeStrength edges(image.look, looked_at);
    const CardSpace lens = pose.camera_position();
    const double middle = (rod.s_begin + rod.s_end) / 2, centre = image.x_mm(image.look.cols / 2.0) - rod.opening_x_mm;
    const double reach = image.px_per_mm * (inwards_mm + outwards_mm) / 2, inwards = reach - image.px_per_mm * outwards_mm;
    const auto within = [&](bool lower) {
        const double slope = (edge_y(rod, rod.s_end, lens, lower) - edge_y(rod, rod.s_begin, lens, lower)) / (rod.s_end - rod.s_begin);
        return Line{image.row_at(edge_y(rod, centre, lens, lower)) + (lower ? -inwards : inwards), slope};
    };
    const Rod out = rod_between(image, edges.rod_edges_near(within(false), within(true), reach, slack, slack), lens);
    if (std::abs(out.top(middle).y_mm - rod.top(middle).y_mm) > most_aside_mm) return std::nullopt;
    return out;
}

}  // namespace bindhue::capture

#include "colour/nearest.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "colour/difference.hpp"

namespace bindhue {
namespace {

constexpr std::uint32_t leaf_size = 24;       // a guess: no other was tried
constexpr double highest_T = 1.573;      // T of equation 15 is 1.57247 at most, at 234.4 degrees
constexpr double degree = std::numbers::pi / 180;
// The bound is proven in exact arithmetic; this is more than what rounding takes.
constexpr double rounding = 1 - 1e-9;

double seventh_power_root(double C) {
    const double t = C / 25, t2 = t * t, t7 = t2 * t2 * t2 * t;
    return std::sqrt(t7 / (t7 + 1));
}
// 1 + G of equation 4.
double stretch(double mean_C) { return 1.5 - 0.5 * seventh_power_root(mean_C); }

// Degrees from 275, -180..180.
double hue_from_275(double a, double b) {
    const double h = std::atan2(b, a) / degree - 275;
    return h < -180 ? h + 360 : h;
}

struct HueRange {
    double low, high;
};
// What stretching by 1 to 1.5 does to the hue of a colour is monotone. The whole circle for grey.
HueRange hue_range(double a, double b) {
    if (a == 0 && b == 0) return {-180, 180};
    const double one = hue_from_275(a, b), other = hue_from_275(1.5 * a, b);
    const HueRange range{std::min(one, other), std::max(one, other)};
    return range.high - range.low > 180 ? HueRange{-180, 180} : range;
}

double gap(double value, double low, double high) {
    return value < low ? low - value : value > high ? value - high : 0;
}

}  // namespace

struct NearestColours::Query {
    double L, a, b, C;
    HueRange hue;

    explicit Query(const Lab<D50>& t) : L(t.L), a(t.a), b(t.b), C(std::hypot(t.a, t.b)), hue(hue_range(a, b)) {}

    // Squared.
    double least_difference(const Box& box) const {
        const auto SL = [](double mean) {
            const double square = (mean - 50) * (mean - 50);
            return 1 + 0.015 * square / std::sqrt(20 + square);
        };
        const double dL = gap(L, box.L_low, box.L_high);
        const double light = dL > 0 ? dL / std::max(SL(0.5 * (L + box.L_low)), SL(0.5 * (L + box.L_high))) : 0;

        const double da = gap(a, box.a_low, box.a_high), db = gap(b, box.b_low, box.b_high),
                     dC = gap(C, box.C_low, box.C_high);
        if (da == 0 && db == 0 && dC == 0) return rounding * light * light;
        const double low_C = 0.5 * (C + box.C_low), high_C = 0.5 * (C + box.C_high);
        const double most = stretch(low_C), least = stretch(high_C);
        // C' of a colour lies between its C and stretch * C, and d' is no less than d.
        const double plane = std::max(least * least * da * da + db * db, dC * dC);
        const double chroma_gap = std::max(most * C - box.C_low, most * box.C_high - C);
        const double high_chroma = most * high_C;
        const double SC = 1 + 0.045 * high_chroma, SH = 1 + 0.015 * highest_T * high_chroma;
        const double from_chroma = std::min(plane, chroma_gap * chroma_gap);
        const double round = from_chroma / (SC * SC) + (plane - from_chroma) / (SH * SH);
        return rounding * (light * light + round * (1 - half_rotation(box, high_chroma)));
    }

    double half_rotation(const Box& box, double high_chroma) const {
        double angle = 60;
        // Where no two hues are 180 degrees or more apart the mean hue is the mean of the two numbers, or
        // farther from 275 (the formula does not wrap it).
        if (std::max(hue.high, box.hue_high) - std::min(hue.low, box.hue_low) < 179.9) {
            const double nearest = gap(0, 0.5 * (hue.low + box.hue_low), 0.5 * (hue.high + box.hue_high)) / 25;
            if (nearest > 3) return 1.3e-4;  // sin(60 degrees exp(-9))
            angle *= std::exp(-nearest * nearest);
        }
        return seventh_power_root(high_chroma) * std::sin(angle * degree);
    }
};

NearestColours::NearestColours(std::span<const Lab<D50>> colours) {
    order_.resize(colours.size());
    for (std::size_t i = 0; i < order_.size(); ++i) order_[i] = static_cast<std::uint32_t>(i);
    L_.resize(colours.size());
    a_.resize(colours.size());
    b_.resize(colours.size());
    if (!colours.empty()) build(colours, 0, static_cast<std::uint32_t>(colours.size()));
}

std::uint32_t NearestColours::build(std::span<const Lab<D50>> colours, std::uint32_t first, std::uint32_t last) {
    const auto at = static_cast<std::uint32_t>(nodes_.size());
    nodes_.push_back({{}, first, last, 0});
    if (last - first <= leaf_size) {
        for (std::uint32_t i = first; i < last; ++i) {
            const Lab<D50>& c = colours[order_[i]];
            L_[i] = c.L, a_[i] = c.a, b_[i] = c.b;
        }
        nodes_[at].box = box_of(first, last);
        return at;
    }
    // Across the longest side.
    std::array<double, 3> low{1e9, 1e9, 1e9}, high{-1e9, -1e9, -1e9};
    for (std::uint32_t i = first; i < last; ++i) {
        const Vector3 c = colours[order_[i]].vector();
        for (std::size_t k = 0; k < 3; ++k) low[k] = std::min(low[k], c[k]), high[k] = std::max(high[k], c[k]);
    }
    std::size_t axis = 0;
    for (std::size_t k = 1; k < 3; ++k)
        if (high[k] - low[k] > high[axis] - low[axis]) axis = k;
    const std::uint32_t middle = first + (last - first) / 2;
    const auto member = axis == 0 ? &Lab<D50>::L : axis == 1 ? &Lab<D50>::a : &Lab<D50>::b;
    std::nth_element(order_.begin() + first, order_.begin() + middle, order_.begin() + last,
                     [&](std::uint32_t x, std::uint32_t y) { return colours[x].*member < colours[y].*member; });
    const std::uint32_t left = build(colours, first, middle), right = build(colours, middle, last);
    nodes_[at].right = right;
    const Box &x = nodes_[left].box, &y = nodes_[right].box;
    nodes_[at].box = {std::min(x.L_low, y.L_low),     std::max(x.L_high, y.L_high),
                      std::min(x.a_low, y.a_low),     std::max(x.a_high, y.a_high),
                      std::min(x.b_low, y.b_low),     std::max(x.b_high, y.b_high),
                      std::min(x.C_low, y.C_low),     std::max(x.C_high, y.C_high),
                      std::min(x.hue_low, y.hue_low), std::max(x.hue_high, y.hue_high)};
    return at;
}

NearestColours::Box NearestColours::box_of(std::uint32_t first, std::uint32_t last) const {
    Box box{1e9, -1e9, 1e9, -1e9, 1e9, -1e9, 1e9, 0, 180, -180};
    const auto include = [](double value, double& low, double& high) {
        low = std::min(low, value);
        high = std::max(high, value);
    };
    for (std::uint32_t i = first; i < last; ++i) {
        include(L_[i], box.L_low, box.L_high);
        include(a_[i], box.a_low, box.a_high);
        include(b_[i], box.b_low, box.b_high);
        include(std::hypot(a_[i], b_[i]), box.C_low, box.C_high);
        const HueRange hue = hue_range(a_[i], b_[i]);
        box.hue_low = std::min(box.hue_low, hue.low);
        box.hue_high = std::max(box.hue_high, hue.high);
    }
    return box;
}

// Calls leaf(position, CIEDE2000) for whatever may be no farther than `limit`, which the caller may lower.
template <class Leaf>
void NearestColours::search(const Lab<D50>& target, const double& limit, Leaf leaf) const {
    if (nodes_.empty()) return;
    struct Open {
        std::uint32_t node;
        double least;
    };
    std::array<Open, 64> open;  // a balanced tree over 2^32 is 32 deep
    std::size_t depth = 0;
    const Query query(target);
    open[depth++] = {0, query.least_difference(nodes_[0].box)};
    std::array<double, leaf_size> delta_e;
    while (depth > 0) {
        const Open next = open[--depth];
        if (next.least > limit * limit) continue;
        const Node& node = nodes_[next.node];
        if (node.right == 0) {
            const std::size_t count = node.last - node.first;
            const auto plane = [&](const std::vector<double>& p) { return std::span(p).subspan(node.first, count); };
            ciede2000_batch(target.vector(), plane(L_), plane(a_), plane(b_), std::span(delta_e).first(count));
            for (std::uint32_t i = 0; i < count; ++i)
                if (delta_e[i] <= limit) leaf(node.first + i, delta_e[i]);
            continue;
        }
        const Open left{next.node + 1, query.least_difference(nodes_[next.node + 1].box)},
            right{node.right, query.least_difference(nodes_[node.right].box)};
        const bool left_first = left.least <= right.least;
        open[depth++] = left_first ? right : left;
        open[depth++] = left_first ? left : right;
    }
}

std::vector<Neighbour> NearestColours::nearest(const Lab<D50>& target, std::size_t count, double within) const {
    std::vector<Neighbour> best;  // a heap, the farthest on top
    if (count == 0) return best;
    best.reserve(std::min(count, size()) + 1);
    const auto nearer = [](const Neighbour& x, const Neighbour& y) {
        return x.delta_e != y.delta_e ? x.delta_e < y.delta_e : x.index < y.index;
    };
    double limit = within;
    search(target, limit, [&](std::uint32_t position, double delta_e) {
        best.push_back({order_[position], delta_e});
        std::push_heap(best.begin(), best.end(), nearer);
        if (best.size() > count) {
            std::pop_heap(best.begin(), best.end(), nearer);
            best.pop_back();
        }
        if (best.size() == count) limit = std::min(limit, best.front().delta_e);
    });
    std::sort_heap(best.begin(), best.end(), nearer);
    return best;
}

std::vector<Neighbour> NearestColours::all_within(const Lab<D50>& target, double within) const {
    std::vector<Neighbour> out;
    search(target, within,
           [&](std::uint32_t position, double delta_e) { out.push_back({order_[position], delta_e}); });
    return out;
}

}  // namespace bindhue

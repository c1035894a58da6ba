// Times the ten nearest of many colours, beside asking each one in a batch, on the same targets.
#include "colour/nearest.hpp"

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <random>

#include "colour/difference.hpp"

using namespace bindhue;

namespace {

double seconds_since(std::chrono::steady_clock::time_point start) {
    return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
}

std::vector<Lab<D50>> colours(std::size_t count, unsigned seed) {
    std::mt19937 random(seed);
    std::uniform_real_distribution<double> L(10, 92), share(0, 1), hue(0, 360);
    std::vector<Lab<D50>> out(count);
    for (Lab<D50>& c : out) c = to_lab(LCh<D50>{L(random), 75 * std::sqrt(share(random)), hue(random)});
    return out;
}

}  // namespace

int main() {
    std::printf("%10s %9s %14s %14s %12s\n", "colours", "build s", "index us", "batch us", "differences");
    for (const std::size_t count : {300u, 1000u, 10000u, 100000u, 1000000u}) {
        const auto all = colours(count, 1);
        auto start = std::chrono::steady_clock::now();
        const NearestColours index(all);
        const double build = seconds_since(start);

        std::vector<double> L, a, b, delta_e(count);
        for (const Lab<D50>& c : all) L.push_back(c.L), a.push_back(c.a), b.push_back(c.b);
        const auto targets = colours(count > 100000 ? 60 : 600, 2);
        std::vector<std::vector<Neighbour>> found;
        const auto many = colours(3000, 2);
        start = std::chrono::steady_clock::now();
        for (const Lab<D50>& target : many) found.push_back(index.nearest(target, 10));
        const double fast = seconds_since(start) / static_cast<double>(many.size());

        std::size_t unlike = 0;
        std::vector<std::size_t> order(count);
        start = std::chrono::steady_clock::now();
        for (std::size_t t = 0; t < targets.size(); ++t) {
            ciede2000_batch(targets[t].vector(), L, a, b, delta_e);
            for (std::size_t i = 0; i < count; ++i) order[i] = i;
            std::partial_sort(order.begin(), order.begin() + 10, order.end(),
                              [&](std::size_t x, std::size_t y) { return delta_e[x] < delta_e[y]; });
            for (std::size_t i = 0; i < 10; ++i) unlike += order[i] != found[t][i].index;
        }
        const double slow = seconds_since(start) / static_cast<double>(targets.size());
        std::printf("%10zu %9.3f %14.2f %14.2f %12zu\n", count, build, 1e6 * fast, 1e6 * slow, unlike);
    }
    return 0;
}

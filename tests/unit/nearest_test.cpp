#include "colour/nearest.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "colour/difference.hpp"

using namespace bindhue;

namespace {

std::vector<Lab<D50>> colours(std::size_t count, unsigned seed, double spread) {
    std::mt19937 random(seed);
    std::uniform_real_distribution<double> L(0, 100), ab(-spread, spread);
    std::vector<Lab<D50>> out(count);
    for (Lab<D50>& c : out) c = {L(random), ab(random), ab(random)};
    return out;
}

std::vector<Neighbour> one_by_one(const std::vector<Lab<D50>>& all, const Lab<D50>& target) {
    std::vector<Neighbour> out;
    for (std::size_t i = 0; i < all.size(); ++i) out.push_back({i, ciede2000(target, all[i])});
    std::sort(out.begin(), out.end(), [](const Neighbour& x, const Neighbour& y) {
        return x.delta_e != y.delta_e ? x.delta_e < y.delta_e : x.index < y.index;
    });
    return out;
}

}  // namespace

TEST_CASE("The nearest colours are those that asking each one finds") {
    // Greys, threads, vivid blues where the formula rotates, and beyond any surface; few colours and many.
    for (const double spread : {2.0, 40.0, 130.0, 200.0})
        for (const std::size_t count : {1u, 30u, 3000u}) {
            const auto all = colours(count, 1, spread);
            const NearestColours index(all);
            for (const Lab<D50>& target : colours(150, 2, spread)) {
                const auto expected = one_by_one(all, target);
                const auto found = index.nearest(target, 10);
                REQUIRE(found.size() == std::min<std::size_t>(10, count));
                for (std::size_t i = 0; i < found.size(); ++i) {
                    CHECK(found[i].index == expected[i].index);
                    CHECK(found[i].delta_e == Approx(expected[i].delta_e).margin(1e-11));
                }
                const double within = expected[expected.size() / 10].delta_e + 1e-9;
                CHECK(index.all_within(target, within).size() == expected.size() / 10 + 1);
            }
        }
}

TEST_CASE("Colours of the blue region, and on both sides of the red axis, are found") {
    std::mt19937 random(3);
    std::uniform_real_distribution<double> hue(215, 335), L(10, 90), C(0, 130), round_red(-40, 40);
    for (const bool blue : {true, false}) {
        std::vector<Lab<D50>> all(4000);
        for (Lab<D50>& c : all)
            c = to_lab(LCh<D50>{L(random), C(random), blue ? hue(random) : round_red(random)});
        const NearestColours index(all);
        for (int i = 0; i < 300; ++i) {
            const Lab<D50> target =
                to_lab(LCh<D50>{L(random), C(random), blue ? hue(random) : round_red(random)});
            CHECK(index.nearest(target, 1)[0].index == one_by_one(all, target)[0].index);
        }
    }
}

TEST_CASE("Equal colours come in their order, and no colours have no neighbour") {
    const std::vector<Lab<D50>> same(100, {50, 10, 10});
    const auto found = NearestColours(same).nearest({50, 10, 10}, 3);
    REQUIRE(found.size() == 3);
    for (std::size_t i = 0; i < 3; ++i) CHECK(found[i].index == i);
    CHECK(NearestColours({}).nearest({50, 0, 0}, 3).empty());
    CHECK(NearestColours(same).nearest({50, 10, 10}, 0).empty());
    CHECK(NearestColours(same).nearest({80, 10, 10}, 3, 5.0).empty());
}

#include "colour/grey_exponent.hpp"

#include <catch2/catch.hpp>
#include <cmath>

using namespace bindhue;

namespace {

// Eight grey steps, through the given curve.
template <class Curve>
std::vector<PatchSample> steps(Curve curve) {
    std::vector<PatchSample> out;
    for (int i = 0; i < 8; ++i) {
        PatchSample p;
        p.role = PatchRole::grey;
        p.reference = {20.0 + 10 * i, 0, 0};
        const double v = curve(to_xyz(p.reference).Y);
        p.rgb = {v, v, v};
        out.push_back(p);
    }
    return out;
}

}  // namespace

TEST_CASE("Grey steps tell linear values from those through a curve, under veil and at any exposure") {
    CHECK(*grey_exponent(steps([](double Y) { return 0.3 * Y; })) == Approx(1));
    CHECK(*grey_exponent(steps([](double Y) { return 0.3 * (Y + 0.1); })) > least_linear_exponent);
    // IEC 61966-2-1, its power part.
    const double srgb = *grey_exponent(steps([](double Y) { return 1.055 * std::pow(Y, 1 / 2.4) - 0.055; }));
    CHECK(srgb > 0.4);
    CHECK(srgb < most_curved_exponent);
    CHECK(*grey_exponent(steps([](double Y) { return std::pow(Y, 1 / 2.2); })) == Approx(1 / 2.2));
}

TEST_CASE("Too few grey steps, clipped ones, or steps that are all alike tell nothing") {
    auto few = steps([](double Y) { return Y; });
    for (std::size_t i = 0; i < 5; ++i) few[7 - i].clipped = true;
    CHECK_FALSE(grey_exponent(few));
    auto alike = steps([](double Y) { return Y; });
    for (PatchSample& p : alike) p.reference = {60, 0, 0};
    CHECK_FALSE(grey_exponent(alike));
    auto colours = steps([](double Y) { return Y; });
    for (PatchSample& p : colours) p.role = PatchRole::colour;
    CHECK_FALSE(grey_exponent(colours));
}

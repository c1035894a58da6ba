// Finlayson, Mackiewicz, Hurlbert, "Color correction using root-polynomial regression", IEEE Trans. Image
// Processing 24 (2015) 1460-1470. What the paper states and this file checks: the terms of degree 2 are r, g,
// b, sqrt(rg), sqrt(gb), sqrt(rb) (their table of expansions); each is of degree one in exposure, so the map
// scales with the light; and on reflectances of unlike cameras it errs less than a 3x3.
#include <catch2/catch.hpp>

#include "../support/simulated_card.hpp"
#include "colour/difference.hpp"

using namespace simulated;

namespace {

CameraFit fit_with(ColourModel model, std::uint64_t seed) {
    Random random(seed);
    Photo photo;
    photo.camera = invented_camera(random);
    photo.seed = seed;
    FitOptions options;
    options.linear = true;
    options.model = model;
    const std::vector<PatchSample> card = Taken(photo).card();
    const Result<CameraFit> fit = fit_camera(card, options);
    REQUIRE(fit);
    return *fit;
}

}  // namespace

TEST_CASE("Root-polynomial: the colour scales with exposure exactly") {
    const CameraFit fit = fit_with(ColourModel::root_polynomial, 5);
    REQUIRE(fit.model == ColourModel::root_polynomial);
    Random random(1);
    for (int i = 0; i < 200; ++i) {
        const CameraRgb c{random.uniform(0, 1), random.uniform(0, 1), random.uniform(0, 1)};
        const double k = random.uniform(0.01, 8);
        const XYZ<D50> once = fit.to_xyz(c), scaled = fit.to_xyz({k * c.r, k * c.g, k * c.b});
        CHECK(scaled.X == Approx(k * once.X).epsilon(1e-12).margin(1e-14));
        CHECK(scaled.Y == Approx(k * once.Y).epsilon(1e-12).margin(1e-14));
        CHECK(scaled.Z == Approx(k * once.Z).epsilon(1e-12).margin(1e-14));
    }
}

TEST_CASE("Root-polynomial: the terms are those of the paper, in the order the header states") {
    CameraFit fit;
    fit.model = ColourModel::root_polynomial;
    fit.map = {{{0, 0, 0, 1, 0, 0}, {0, 0, 0, 0, 1, 0}, {0, 0, 0, 0, 0, 1}}};
    const XYZ<D50> c = fit.to_xyz({0.04, 0.25, 0.81});
    CHECK(c.X == Approx(0.2 * 0.5));
    CHECK(c.Y == Approx(0.5 * 0.9));
    CHECK(c.Z == Approx(0.2 * 0.9));
}

TEST_CASE("Root-polynomial: the held-out error is below that of a 3x3 for most cameras") {
    int better = 0;
    constexpr int cameras = 10;
    for (std::uint64_t seed = 1; seed <= cameras; ++seed)
        better += fit_with(ColourModel::root_polynomial, seed).held_out_median <
                  fit_with(ColourModel::matrix, seed).held_out_median;
    CHECK(better >= 8);
}

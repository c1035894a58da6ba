#include "colour/brightener.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <vector>

#include "../support/simulated_card.hpp"
#include "colour/camera_fit.hpp"

using namespace simulated;

namespace {

const Lab<D50> office_paper{94, 3, -9};

// What paper sends out in ultraviolet, in at one band of the ink and out at another: bluish, as stilbenes are (from memory).
Spectrum glowing(const Spectrum& print, const Spectrum& paper, double strength) {
    Spectrum out = print;
    for (std::size_t i = 0; i < spectrum_size; ++i) {
        const double off = (Spectrum::wavelength_nm(i) - 437) / 30;
        out[i] += strength * std::exp(-off * off) * std::sqrt(std::min(1.0, print[i] / paper[i]) * std::min(1.0, print[0] / paper[0]));
    }
    return out;
}

// The card as an instrument with ultraviolet has it; the photo is taken without.
std::vector<PatchSample> measured_with_ultraviolet(std::vector<PatchSample> card, double strength) {
    const Spectrum paper = printed(Inks{});
    for (PatchSample& p : card) {
        if (!p.spectrum) continue;
        p.spectrum = glowing(*p.spectrum, paper, strength);
        p.reference = to_lab(reflectance_to_xyz_d50(*p.spectrum));
    }
    return card;
}

CameraFit fit_of(const std::vector<PatchSample>& card) {
    FitOptions options;
    options.linear = true;
    options.trust = Trust::measured;
    const Result<CameraFit> fit = fit_camera(card, options);
    REQUIRE(fit);
    return *fit;
}

}  // namespace

TEST_CASE("Only a white that is bluer than plain paper has brightener, and only the lightest grey is asked") {
    const std::vector<Lab<D50>> office{{40, 0, 0}, office_paper, {75, 2, -7}}, plain{{94, 0, 1}, {40, 1, -6}}, dark{{60, 2, -8}, {20, 0, 0}}, blue{{85, 0, -60}};
    REQUIRE(glowing_white(office));
    CHECK(glowing_white(office)->L == office_paper.L);
    CHECK_FALSE(glowing_white(plain));
    CHECK_FALSE(glowing_white(dark));
    CHECK_FALSE(glowing_white(blue));
    CHECK_FALSE(glowing_white({}));
}

TEST_CASE("Without ultraviolet the white is neutral again, greys move less the darker they are, and black stays") {
    const Vector3 white = shift_without_ultraviolet(office_paper, office_paper);
    CHECK(white[0] == Approx(0).margin(1e-9));
    CHECK(white[1] == Approx(-office_paper.a));
    CHECK(white[2] == Approx(-office_paper.b));
    const double grey = shift_without_ultraviolet({50, 0, 0}, office_paper)[2];
    CHECK(grey > 3);
    CHECK(grey < white[2]);
    CHECK(std::abs(shift_without_ultraviolet({1, 0, 0}, office_paper)[2]) < 0.5);
}

TEST_CASE("By a card measured with ultraviolet a photo without reads too blue, as far as foretold, and its regions say so") {
    Photo photo;
    Random random(5);
    photo.camera = invented_camera(random);
    photo.light = illuminant(Illuminant::LED_B3);
    photo.seed = 5;
    const std::vector<PatchSample> plain = Taken(photo).card();
    const CameraFit right = fit_of(plain), wrong = fit_of(measured_with_ultraviolet(plain, 0.2));
    CHECK_FALSE(right.glowing_white);
    REQUIRE(wrong.glowing_white);
    CHECK(wrong.glowing_white->b < -5);
    Taken taken(photo);
    const CardPoint place{80, 55};
    for (const Inks& inks : {Inks{0, 0, 0, 40}, Inks{20, 30, 60, 10}, Inks{60, 20, 20, 0}, Inks{10, 70, 40, 20}}) {
        const Spectrum print = printed(inks);
        const Vector3 seen = taken.shoot(print, place).rgb;
        const Lab<D50> truth = to_lab(reflectance_to_xyz_d50(print));
        const Reading good = right.read(CameraRgb::from(right.undo(seen, place)), {}), blue = wrong.read(CameraRgb::from(wrong.undo(seen, place)), {});
        CHECK(blue.lab.b < good.lab.b - 1.5);
        const Vector3 foretold = shift_without_ultraviolet(blue.lab, *wrong.glowing_white);
        CHECK(std::abs(blue.lab.b + foretold[2] - good.lab.b) < 0.35 * (good.lab.b - blue.lab.b));
        CHECK(mahalanobis_squared(truth, blue) < 7.815);
        // Both readings of one card share it.
        CHECK(blue.shared(2, 2) > good.shared(2, 2) + 0.2 * foretold[2] * foretold[2]);
        CHECK(blue.covariance(2, 2) > good.covariance(2, 2) + 0.2 * foretold[2] * foretold[2]);
    }
}

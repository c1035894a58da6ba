// Light in a scattering layer over a ground, and at its surface.
//
// Sources: Kubelka, Munk, Z. Techn. Phys. 12 (1931) 593; Kubelka, J. Opt. Soc. Am. 38 (1948) 448 (hyperbolic
// solution); Walsh, Dept. Sci. Ind. Res. Illum. Res. Tech. Paper 2 (1926) 10 (diffuse Fresnel reflectance in
// closed form); Saunderson, J. Opt. Soc. Am. 32 (1942) 727; Lekner, Dorf, "Why some things are darker when
// wet", Appl. Opt. 27 (1988) 1278. All reflectances 0..1 at one wavelength.
#pragma once

#include <array>

#include "colour/result.hpp"

namespace bindhue {

// Two-flux (Kubelka-Munk) layer: absorption and scattering times thickness, K X and S X, each 0..1e6.
struct TwoFluxLayer {
    double KX = 0, SX = 0;

    double reflectance_over(double ground) const;  // ground 0..1; the limits SX = 0 and KX = 0 are exact
    double transmittance() const;
};

double k_over_s(double infinite_reflectance);  // (1 - R)^2 / 2R, 0 < R <= 1
double infinite_reflectance(double k_over_s);  // its inverse, 0 <= K/S <= 1e6

// The layer that reads `over_dark` over the ground `dark` and `over_light` over `light`, all 0..1 and inside, without a surface. Kubelka's solution put
// the other way about: with c = b coth(b S X), R (a + c - Rg) = 1 - Rg (a - c) is linear in a and c, once for each ground. Errors: bad_value (outside
// 0..1, or the grounds less than 0.05 apart); cannot_measure: no such layer does that (it would have to add light, or to hide all).
Result<TwoFluxLayer> layer_over_two_grounds(double over_dark, double dark, double over_light, double light);

// Hiding power as ISO 6504-3 defines it: the luminous reflectance over black as a share of that over white, 1 hides all. (That standard is for paints at a
// film of given thickness on given charts; here it is said of one layer of thread.)
double contrast_ratio(double over_black, double over_white);

// Fresnel, unpolarised, from vacuum into index n >= 1 at the angle of incidence (radians, 0..pi/2).
double fresnel_reflectance(double n, double angle);

// Share of Lambertian light that a smooth surface returns, n = 1 or 1.001..4: from outside (0.092 for n
// = 1.5) and from inside, total reflection included (0.596 for n = 1.5). Error under 1e-9 against Fresnel's
// equations integrated over the hemisphere.
double fresnel_diffuse_external(double n);
double fresnel_diffuse_internal(double n);

// Saunderson: from the reflectance inside (no surface) to that seen outside with the specular part excluded,
// and back. k1: share of the incoming light mirrored at the surface; k2: share of the inner diffuse light
// returned by it; both 0 <= k < 1.
double saunderson_outside(double inside, double k1, double k2);
double saunderson_inside(double outside, double k1, double k2);

// The same for a smooth film of index n in optical contact with what lies below, lit at 45 degrees and seen
// square on (the geometry of Bindhue's readings): 1 - R(45 degrees) of the light enters, (1 - R(0)) / n^2 of
// the inner radiance leaves toward the eye, both by Fresnel. A perfect white below reads 1.00 within 1 %.
struct Film {
    double gain = 1, returned = 0;

    Film() = default;         // no film
    explicit Film(double n);  // index as for the diffuse reflectances above

    double outside(double inside) const { return gain * inside / (1.0 - returned * inside); }
    double inside(double outside) const { return outside / (gain + returned * outside); }
};

// Such a film that absorbs, over a Lambertian body: 45:0, light inside followed by its angle. depth: natural absorbance of one crossing square on,
// 0..6 (its internal transmittance is exp(-depth)). Depth 0 is Film. Error under 1e-4 of the sums written out below.
//
// Source: Williams, Clapper, "Multiple internal reflections in photographic color prints", J. Opt. Soc. Am. 43 (1953) 595: light goes in along
// 1 / cos of its refracted angle and out square on, and what the face returns, 2 integral t^(2 sec u) r(u) sin u cos u du, crosses twice at u.
class TintedFilm {
  public:
    explicit TintedFilm(double n);  // 1.001..4

    Film at(double depth) const;

  private:
    static constexpr int steps = 64;  // of each of the two parts, below and above the angle of total reflection
    struct Way {
        double length = 0, weight = 0;  // there and back, in crossings; share of the diffuse light, times what the face returns
    };
    Film clear_;
    double in_and_out_ = 0;  // crossings
    std::array<Way, 2 * (steps + 1)> ways_{};
};

// Absorbed share of a rough Lambertian surface under a smooth liquid film, from its absorbed share when dry,
// for light that falls at 45 degrees. Lekner and Dorf 1988: (1 - R_l) a / (1 - p (1 - a)), where the liquid
// does not change a itself.
double wetted_absorption(double dry_absorption, double liquid_index);

}  // namespace bindhue

// Light in a scattering layer over a ground, and at its surface.
//
// Sources: Kubelka, Munk, Z. Techn. Phys. 12 (1931) 593; Kubelka, J. Opt. Soc. Am. 38 (1948) 448 (hyperbolic
// solution); Saunderson, J. Opt. Soc. Am. 32 (1942) 727; Lekner, Dorf, "Why some things are darker when wet",
// Appl. Opt. 27 (1988) 1278. All reflectances 0..1 at one wavelength.
#pragma once

namespace bindhue {

// Two-flux (Kubelka-Munk) layer: absorption and scattering times thickness, K X >= 0 and S X >= 0.
struct TwoFluxLayer {
    double KX = 0, SX = 0;

    double reflectance_over(double ground) const;  // between ground 0..1; limits SX = 0 and KX = 0 are exact
    double transmittance() const;
};

double k_over_s(double infinite_reflectance);  // (1 - R)^2 / 2R, 0 < R <= 1
double infinite_reflectance(double k_over_s);  // its inverse

// Fresnel, unpolarised, from vacuum into index n >= 1 at the angle of incidence (radians).
double fresnel_reflectance(double n, double angle);
double fresnel_diffuse_external(double n);  // Lambertian light from outside; 0.092 for n = 1.5
double fresnel_diffuse_internal(
    double n);  // Lambertian light from inside, total reflection included; 0.596 for n = 1.5

// Saunderson: from the reflectance inside (no surface) to that seen outside with the specular part excluded,
// and back. k1: share of the incoming light mirrored at the surface; k2: share of the inner diffuse light
// returned by it.
double saunderson_outside(double inside, double k1, double k2);
double saunderson_inside(double outside, double k1, double k2);

// Lekner and Dorf, equation for the absorbed share of a rough surface under a smooth liquid film.
double wetted_absorption(double dry_absorption, double liquid_index);

}  // namespace bindhue

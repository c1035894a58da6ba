// Thread, what is wound under it and what is brushed over it, wavelength by wavelength.
//
// A wrap is a pile of plates (Stokes, Proc. R. Soc. 11 (1862) 545): each row of fibres reflects at its two
// faces, its dye absorbs, its pigment scatters. In air the faces are bright; wetted by a coat of nearly the
// fibre's own index they all but vanish and what is left is dye and pigment over the ground. That is not the
// two-flux layer that the library uses.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "spectrum.hpp"

namespace bindhue::render {

enum class Material { nylon, ncp_nylon, polyester, silk, metallic };
enum class Schedule { none, finish, preserver_finish };

const char* name(Material material);
const char* name(Schedule schedule);
Schedule schedule_named(const std::string& text);  // throws std::runtime_error

// Refractive index of the finish.
inline constexpr double finish_index = 1.5;
double fresnel(double index, double cosine);  // unpolarised, from air, 0 <= cosine <= 1
// Reflectance of what lies in contact under a smooth clear surface, from how the whole looks (45:0, specular excluded).
double beneath_surface(double outside);

struct Spool {
    std::string code, name;
    Material material{};
    std::string size;
    double size_mm = 0;
    Lab aim{};  // the dry colour that the dyer was asked for
    std::optional<Spectrum> dry{};  // how thread of this dye measured dry, many turns deep; then the dyer hit it band by band
};

const std::vector<Spool>& demo_spools();
// Spools of given dry reflectances, coded M-1, M-2 and so on, of the four dyed materials in turn; none until they are hung, once, before anything is drawn.
void hang_measured(const std::vector<Spectrum>& dry);
const std::vector<Spool>& measured_spools();
const Spool& spool_coded(const std::string& code);  // of either; throws std::runtime_error

// What one pass through a row of fibres absorbs (natural units), by the spool's dyes.
Spectrum dyed(const Spool& spool);
// The same for thread whose dry look on the spool another judge tells (fibres.hpp).
using DryLook = std::function<Spectrum(const Spectrum& absorption)>;
Spectrum dyed(const Spool& spool, const DryLook& dry);

// A dye that glows by day: light about one wavelength comes back about a longer one.
struct Fluorescence {
    double strength = 0;  // 0: none. What is added at the peak to the radiance factor of a surface that takes in all of the first and nothing of the second, under equal energy
    double excited_nm = 450, sent_nm = 520;
};
// What a surface of that reflectance sends besides what it reflects: of what it takes in, and through its own dyes.
Spectrum sent(const Fluorescence& dye, const Spectrum& reflectance, const Spectrum& light);

// Reflectance factors, 45:0, specular excluded, mean over whole turns.
Spectrum dry_opaque(const Spool& spool, const Spectrum& absorption);  // many turns deep, as on the spool
// One layer over a ground. ground: as it looks bare, itself smooth and clear coated. amber: absorption of the
// finish in one pass.
Spectrum wrapped(const Spool& spool, const Spectrum& absorption, Schedule schedule, const Spectrum& ground,
                 const Spectrum& amber);

// A wrap's blank and other grounds, as they look bare under a clear coat. Throws std::runtime_error for an
// unknown name.
Spectrum ground_named(const std::string& name);

}  // namespace bindhue::render

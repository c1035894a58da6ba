// What finish and preserver do to the colour of thread: the shift from dry to finished, with its covariance.
//
// Prior (nothing measured yet): a two-flux layer over the ground, per wavelength on the smoothest reflectance
// that has the dry colour. The coat lowers scattering by a ratio set by the material; over a fraction of
// optical contact the clear, smooth surface returns part of the light (Saunderson), with air left under the
// rest. Preserver is a sealed skin over a dry core: little contact. No published dry-to-finished figures for
// rod thread exist, so the prior is wide and says so.
#pragma once

#include <array>
#include <string_view>

#include "colour/reading.hpp"
#include "colour/result.hpp"

namespace bindhue {

enum class Material { nylon, ncp_nylon, polyester, ncp_polyester, silk, metallic, monofilament };
enum class Schedule { none, finish, preserver_finish };

inline constexpr std::array all_materials{Material::nylon,         Material::ncp_nylon, Material::polyester,
                                          Material::ncp_polyester, Material::silk,      Material::metallic,
                                          Material::monofilament};
inline constexpr std::array all_schedules{Schedule::none, Schedule::finish, Schedule::preserver_finish};

std::string_view name(Material material);  // "ncp-nylon"
std::string_view name(Schedule schedule);  // "preserver+finish"
Result<Material> parse_material(std::string_view text);
Result<Schedule> parse_schedule(std::string_view text);

// Coats to brush and wait for, as the cost of a schedule: none 0, finish 2, preserver+finish 4 (common
// practice).
int coats(Schedule schedule);

// Means of the prior's physical parameters; see coating.cpp for where each comes from.
struct CoatingParameters {
    double scattering = 0;        // S X of one layer of dry thread, at the nominal size of 0.15 mm
    double scattering_ratio = 0;  // finished over dry
    double contact = 0;           // share of the fibre surface in optical contact with the coat, 0..1
    double index = 1.5;           // refractive index of the coat
};
CoatingParameters coating_prior(Material material, Schedule schedule);

// One layer of thread over the ground. dry: as on the spool (opaque). ground: what lies under the thread, as
// it looks bare. size_mm: diameter of the thread, 0.05..1. The covariance holds the dry and the ground
// reading's error carried through, and the prior's spread. Schedule none over a ground: the dry layer as it
// shows the ground. Errors: bad_value (size, or a colour no surface has).
Result<Reading> predict_finished(Material material, Schedule schedule, double size_mm, const Reading& dry,
                                 const Reading& ground);

}  // namespace bindhue

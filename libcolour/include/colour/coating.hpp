// What finish and preserver do to the colour of thread: the shift from dry to finished, with its covariance.
//
// Prior (nothing measured yet): a two-flux layer over the ground, per wavelength on the smoothest reflectance
// that has the dry colour. The coat lowers scattering by a ratio set by the material; over a fraction of
// optical contact the clear, smooth surface returns part of the light (Saunderson), with air left under the
// rest. What dry fibres mirror at their faces has no colour, and is lost in the coat. Preserver is a sealed
// skin over a dry core: little contact, in points. No published dry-to-finished figures for rod thread exist, so the
// prior is wide and says so.
//
// Assumptions. Thread on a spool is opaque, a wrap is one layer of it. The ground has a smooth surface of its
// own (lacquer, paint, a finished underwrap), which a coat in contact with it puts out of work. The finish is
// clear and thick enough to level; thread that soaked unevenly, a guide foot beneath and old, amber finish
// are not described.
#pragma once

#include <array>
#include <optional>
#include <string_view>

#include "colour/reading.hpp"
#include "colour/result.hpp"
#include "colour/spectrum.hpp"

namespace bindhue {

enum class Material { nylon, ncp_nylon, polyester, ncp_polyester, silk, metallic, monofilament };
enum class Schedule { none, finish, preserver_finish };

inline constexpr std::array all_materials{Material::nylon,         Material::ncp_nylon, Material::polyester,
                                          Material::ncp_polyester, Material::silk,      Material::metallic,
                                          Material::monofilament};
inline constexpr std::array all_schedules{Schedule::none, Schedule::finish, Schedule::preserver_finish};

std::string_view name(Material material);  // "ncp-nylon"
std::string_view name(Schedule schedule);  // "preserver+finish"
// Error: bad_value, with the list of what is understood.
Result<Material> parse_material(std::string_view text);
Result<Schedule> parse_schedule(std::string_view text);

// Coats to brush and wait for, as the cost of a schedule: none 0, finish 2, preserver+finish 4 (common
// practice).
int coats(Schedule schedule);

inline constexpr double min_thread_mm = 0.05, max_thread_mm = 1.0;  // diameters that are thread
inline constexpr double nominal_thread_mm = 0.15;                       // that scattering is given for

// A surface known by its colour alone, with the spectrum to reason with and how that moves with the colour.
// Dear to make (it finds the smoothest reflectance), cheap to use: make it once for each spool and ground.
class Surface {
  public:
    // Never fails on a valid reading: a colour outside the object-colour solid (fluorescent, or misread)
    // takes the spectrum of the nearest chroma inside, and its misfit is carried along.
    static Surface nearest(const Reading& reading);
    // Error: bad_value for an invalid reading, or a misfit beyond both 5 and three standard deviations.
    static Result<Surface> from(const Reading& reading);

    const Reading& reading() const { return reading_; }
    const Spectrum& reflectance() const { return reflectance_; }
    Vector3 misfit() const { return misfit_; }  // Lab of the reading minus Lab of the spectrum

    static constexpr std::size_t coarse_size = 21;  // every 20 nm, for derivatives only
    using Coarse = std::array<double, coarse_size>;
    const Coarse& coarse() const { return coarse_; }
    const Coarse& coarse_slope(std::size_t axis) const {
        return slope_[axis];
    }  // d reflectance / d L, a or b

  private:
    Reading reading_;
    Spectrum reflectance_;
    Vector3 misfit_{};
    Coarse coarse_{};
    std::array<Coarse, 3> slope_{};
};

// What a test wrap over black and white taught of one layer of a thread (colour/opacity.hpp): it takes the place of the prior on scattering, as far as
// it is sure.
struct LayerOpacity {
    double scattering = 1;  // S X of one dry layer as wound, 0.01..100
    double log_sd = 0;      // standard deviation of its natural logarithm, 0.01..3

    bool operator==(const LayerOpacity&) const = default;
};
Status validate(const LayerOpacity& opacity);  // error: bad_value

// The physical state of a coated wrap.
struct CoatingParameters {
    double scattering = 0;        // S X of one layer of dry thread, at the nominal size of 0.15 mm
    double scattering_ratio = 1;  // where the coat touches the fibre, over dry
    double absorption_ratio = 1;  // the same for K
    double contact = 0;           // share of the fibre surface in optical contact with the coat, 0..1
    double haze = 0;   // share of the film's underside over air that scatters instead of mirroring, 0..1
    double index = 1;  // refractive index of the coat; 1: no coat
    // How the contact is spread. False: in patches wider than light spreads sideways (turns that soaked up the finish between turns that did not). True: in
    // points closer than that (a seal on the tops of dry fibres): light meets the mean of both faces, and the ratios are the whole dry core's.
    bool sealed = false;
};
CoatingParameters coating_prior(Material material,
                                Schedule schedule);  // medians; see coating.cpp for sources
// Places in the prior: scattering, scattering ratio, absorption ratio, contact and haze moved by so many of the prior's standard deviations (of their
// logarithms; of the logits of contact and haze).
inline constexpr std::size_t coating_parameters = 5;
using PriorDeviations = std::array<double, coating_parameters>;
CoatingParameters coating_prior(Material material, Schedule schedule, const PriorDeviations& moved_by);
// What is believed of them, in prior deviations: the prior itself unless something was learned.
struct CoatingBelief {
    PriorDeviations at{};
    std::array<PriorDeviations, coating_parameters> covariance{{{1}, {0, 1}, {0, 0, 1}, {0, 0, 0, 1}, {0, 0, 0, 0, 1}}};

    // Told besides that a parameter lies at `where`, give or take `sd` (Kalman's step).
    void learn(std::size_t parameter, double where, double sd);
};
// The scattering that an opacity tells of thread of that size, and its standard deviation, both in the prior's standard deviations from its median.
struct InPriorDeviations {
    double at = 0, sd = 1;
};
InPriorDeviations scattering_known(Material material, double size_mm, const LayerOpacity& opacity);
// Standard deviation in CIELAB of what the model leaves out of a grey thread's look (a guess; see coating.cpp), and of any thread's as a covariance:
// it weighs more on vivid colours, whose spectra are guessed from three numbers.
double coating_residual(Material material, Schedule schedule);
Matrix3 coating_residual(Material material, Schedule schedule, const Surface& dry);

// Colour of one layer of thread over the ground. Any parameters in range: this is the model to fit to coat
// tests. size_mm as in predict_finished.
Lab<D50> coated_look(const CoatingParameters& parameters, double size_mm, const Surface& dry,
                     const Surface& ground);

// How such a look moves about the prior moved by so many standard deviations: with the dry colour and the ground's, Lab by Lab, and with each
// of the five parameters, Lab a standard deviation. By differences on a spectrum in steps of 20 nm.
struct LookSlopes {
    Matrix3 by_dry, by_ground;
    std::array<Vector3, coating_parameters> by_parameter{};
};
LookSlopes look_slopes(Material material, Schedule schedule, const PriorDeviations& moved_by, double size_mm,
                       const Surface& dry, const Surface& ground);

// One layer of thread over the ground. dry: as on the spool (opaque). ground: what lies under the thread, as
// it looks bare. size_mm: diameter of the thread, min_thread_mm..max_thread_mm. The covariance holds the dry
// and the ground reading's error carried through, the prior's spread, and what the model leaves out. Schedule
// none over a ground: the dry layer as it shows the ground. Metallic keeps its colour at every schedule, with
// a covariance wide enough for its change with angle. opacity: of this thread, if it is known. Errors: bad_value (size, opacity, or a colour no surface has).
Result<Reading> predict_finished(Material material, Schedule schedule, double size_mm, const Reading& dry,
                                 const Reading& ground, const std::optional<LayerOpacity>& opacity = {});

// How a bare ground (a blank, a mark) looks when a clear coat closes its surface. matte: share of it, 0..1, whose rough face mirrors nothing as one: it
// deepens as a surface under a liquid film does (Lekner, Dorf 1988). Where the ground is smooth and clear coated already, the coat's face takes
// the place of its own and nothing changes.
Lab<D50> coated_ground_look(const Surface& bare, double matte);

// What such a prediction is made from. Errors: as predict_finished.
struct WrapSurfaces {
    Surface dry, ground;
};
Result<WrapSurfaces> wrap_surfaces(double size_mm, const Reading& dry, const Reading& ground);

// The same in parts, for ranking many: precondition, size_mm and opacity in range.
Lab<D50> predicted_look(Material material, Schedule schedule, double size_mm, const Surface& dry,
                        const Surface& ground, const std::optional<LayerOpacity>& opacity = {});
struct FinishedCovariance {
    Matrix3 from_dry;  // the dry reading's error, carried through
    Matrix3 shared;    // of it, what the dry reading shares with others of its kind
    Matrix3 rest;      // the ground's error, the prior's spread, what the model leaves out
    Matrix3 by_dry;    // d Lab of the look / d Lab of the dry reading
};
FinishedCovariance predicted_covariance(Material material, Schedule schedule, double size_mm,
                                        const Surface& dry, const Surface& ground,
                                        const std::optional<LayerOpacity>& opacity = {});
// By another belief than the prior's. The covariance is without what the model leaves out (coating_residual). Precondition: not metallic.
Lab<D50> predicted_look(Material material, Schedule schedule, double size_mm, const Surface& dry, const Surface& ground, const CoatingBelief& belief);
FinishedCovariance predicted_covariance(Material material, Schedule schedule, double size_mm, const Surface& dry, const Surface& ground,
                                        const CoatingBelief& belief);

}  // namespace bindhue

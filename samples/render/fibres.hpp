// Thread as a bundle of fibres through which light is traced, ray by ray: Fresnel's law at every face, absorption by the dye inside,
// scattering by pigment, films and seals where the coat puts them. Neither the library's two-flux layer nor the plates of
// thread.hpp: a second judge of what a coat does. Fibres, packings and how far a coat soaks are invented (samples/README.md).
#pragma once

#include <cstdint>
#include <memory>
#include <vector>

#include "spectrum.hpp"
#include "thread.hpp"

namespace bindhue::render {

// Light that came in at 45 degrees and left within 25 degrees of the normal, by its way. The same rays serve every dye and ground.
class TracedLayer {
  public:
    // absorption: of the dye, along one diameter of a fibre. base: reflectance of the ground under its own clear surface, 0..1. amber: absorption of
    // the coat's film, crossed once.
    double seen(double absorption, double base, double amber = 0) const;

  private:
    friend class FibreTracer;
    struct Ray {
        float in_fibre = 0;   // diameters of a fibre
        float base_hits = 0;  // times that it came back from the ground
        float in_coat = 0;    // thicknesses of the film
    };
    std::vector<Ray> rays_;
    double share_ = 0;  // of the reflectance factor, for each ray
};

// Looks of one kind of spool. Lots differ, and what a lot does is the same every time.
class FibreThread {
  public:
    FibreThread(const Spool& spool, std::uint64_t lot);

    Spectrum dry_opaque(const Spectrum& absorption) const;
    // As wrapped() of thread.hpp.
    Spectrum wrapped(const Spectrum& absorption, Schedule schedule, const Spectrum& ground, const Spectrum& amber) const;

  private:
    std::vector<double> dry_;                       // by the logarithm of the absorption
    std::shared_ptr<const TracedLayer> soaked_, sealed_, bare_;
    double soaks_ = 1;  // share of the turns that finish soaks; the others it seals
};

// A bare mark, matte: a body whose own surface mirrors nothing, as it looks under the film of a finish that has gone amber. By rays.
Spectrum coated_mark(const Spectrum& bare, const Spectrum& amber);

}  // namespace bindhue::render

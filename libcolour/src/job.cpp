#include "colour/job.hpp"

namespace bindhue {

double waste(const Job& job) { return job.one_guide ? one_guide_waste : whole_rod_waste; }

double thread_metres(const WantedBand& band) {
    return band.count * (wound_metres(band.winding) + end_metres(band.winding));
}

Takes takes(const Job& job) {
    Takes out;
    for (const WantedBand& band : job.bands) {
        out.metres[band.spool] += (1 + waste(job)) * thread_metres(band);
        out.film_ml += band.count * film_ml(band.winding, job.film_mm);
    }
    return out;
}

}  // namespace bindhue

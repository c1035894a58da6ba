#include "colour/job.hpp"

#include <string_view>

namespace bindhue {

std::string underwrap_spool(const WantedBand& band) {
    constexpr std::string_view word = "underwrap:";
    return band.ground.starts_with(word) ? band.ground.substr(word.size()) : "";
}

double waste(const Job& job) { return job.one_guide ? one_guide_waste : whole_rod_waste; }

double thread_metres(const WantedBand& band) {
    return band.count * (wound_metres(band.winding) + end_metres(band.winding));
}

Takes takes(const Job& job) {
    Takes out;
    for (const WantedBand& band : job.bands) {
        out.metres[band.spool] += (1 + waste(job)) * thread_metres(band);
        if (const std::string spool = underwrap_spool(band); !spool.empty() && band.winding.underwrap_mm > 0) {
            WantedBand under = band;
            under.winding.pitch_mm = under.winding.thread_mm = band.winding.underwrap_mm;
            under.winding.underwrap_mm = 0;
            under.winding.layers = 1;
            out.metres[spool] += (1 + waste(job)) * thread_metres(under);
        }
        out.film_ml += band.count * film_ml(band.winding, job.film_mm);
    }
    return out;
}

}  // namespace bindhue

#include "reading/old_finish.hpp"

#include "reading/band_or_lab.hpp"
#include "shop/numbers.hpp"

namespace bindhue::capture {

Result<Amber> old_finish(const OldFinishSaid& said, const std::vector<BandReading>& bands, const OldFinishNames& names) {
    if (said.bare.empty() != said.coated.empty())
        return Error{Reason::bad_value, "one place is wanted both without the old finish and under it", said.bare.empty() ? names.bare : names.coated,
                     "give both, each as the number of a band or as L,a,b"};
    if (said.amber.empty() == said.bare.empty())
        return Error{Reason::bad_value, "how amber the old finish is must be known to undo it", names.amber,
                     "give either the share of light that it lets through, or one place without it and under it"};
    if (!said.amber.empty()) {
        const bool alone = said.amber.find(',') == std::string::npos;
        const auto numbers = parse_numbers(said.amber, alone ? 1 : 2, names.amber);
        if (!numbers) return numbers.error();
        constexpr double usual_sd = 0.05;  // of one that somebody judged
        Result<Amber> out = amber_of((*numbers)[0], alone ? usual_sd : (*numbers)[1]);
        if (!out) return Error{out.error().reason, out.error().what, names.amber, out.error().mend};
        return out;
    }
    const Result<Reading> bare = band_or_lab(said.bare, bands, 1.0, names.bare);
    if (!bare) return bare.error();
    const Result<Reading> coated = band_or_lab(said.coated, bands, 1.0, names.coated);
    if (!coated) return coated.error();
    return amber_over(*bare, *coated);
}

}  // namespace bindhue::capture

#include "reading/before_after.hpp"

#include <algorithm>
#include <cmath>

namespace bindhue::capture {
namespace {

// Finish creeps over the ends of a wrap, and an end is read to some tenths of a millimetre.
bool alike(double one_mm, double other_mm) {
    return std::abs(one_mm - other_mm) <= std::max(1.5, 0.1 * std::max(one_mm, other_mm));
}

std::vector<std::size_t> wraps_of(const WrapReading& reading) {
    std::vector<std::size_t> out;
    for (std::size_t i = 0; i < reading.bands.size(); ++i)
        if (reading.bands[i].role == BandRole::wrap) out.push_back(i);
    return out;
}

Status check_band(const WrapReading& reading, std::size_t band, const char* option) {
    if (band <= reading.bands.size()) return ok();
    return Error{Reason::not_found,
                 "there is no band " + std::to_string(band) + "; the photo has " + std::to_string(reading.bands.size()),
                 reading.photo, std::string("say which it is, as bindhue read lists them (") + option + ")"};
}

}  // namespace

Result<WrapPair> same_wrap(const WrapReading& before, const WrapReading& after, std::size_t before_band,
                           std::size_t after_band) {
    if (const Status found = check_band(before, before_band, "--before-band"); !found) return found.error();
    if (const Status found = check_band(after, after_band, "--after-band"); !found) return found.error();
    if (before_band > 0 && after_band > 0) return WrapPair{before_band - 1, after_band - 1};

    const std::vector<std::size_t> first = wraps_of(before), second = wraps_of(after);
    for (const auto& [wraps, reading] : {std::pair{&first, &before}, std::pair{&second, &after}})
        if (wraps->empty())
            return Error{Reason::cannot_measure, "only bare blank is seen in the opening", reading->photo,
                         "lay the test wrap in the card's opening, or choose a band with --before-band and --after-band"};
    bool same = first.size() == second.size();
    for (std::size_t i = 0; same && i < first.size(); ++i)
        same = alike(before.bands[first[i]].length_mm, after.bands[second[i]].length_mm);
    if (!same)
        return Error{Reason::cannot_measure,
                     "which wrap is which does not show: " + std::to_string(first.size()) + " before, " +
                         std::to_string(second.size()) + " after, or not as long",
                     after.photo, "say which band it is in each, as bindhue read lists them (--before-band and --after-band)"};
    const auto place = [](const std::vector<std::size_t>& wraps, std::size_t band) {
        return static_cast<std::size_t>(std::find(wraps.begin(), wraps.end(), band - 1) - wraps.begin());
    };
    std::size_t which = 0;
    if (before_band > 0) {
        which = place(first, before_band);
    } else if (after_band > 0) {
        which = place(second, after_band);
    } else {
        for (std::size_t i = 1; i < first.size(); ++i)
            if (before.bands[first[i]].length_mm > before.bands[first[which]].length_mm) which = i;
    }
    if (which == first.size())
        return Error{Reason::cannot_measure, "that band is no wrap, so its place among them does not tell", after.photo,
                     "name both with --before-band and --after-band"};
    return WrapPair{first[which], second[which]};
}

}  // namespace bindhue::capture

#include "reading/band_or_lab.hpp"

#include "shop/numbers.hpp"

namespace bindhue::capture {

Result<Reading> band_or_lab(const std::string& text, const std::vector<BandReading>& bands, double sd, const std::string& where) {
    if (text.find(',') != std::string::npos) {
        const auto numbers = parse_numbers(text, 3, where);
        if (!numbers) return numbers.error();
        return Reading{Lab<D50>::from({(*numbers)[0], (*numbers)[1], (*numbers)[2]}), Matrix3::diagonal({sd * sd, sd * sd, sd * sd}), {}};
    }
    const std::optional<std::size_t> band = whole_number(text);
    if (band && *band >= 1 && *band <= bands.size()) return bands[*band - 1].colour;
    return Error{Reason::not_found, "there is no band \"" + text + "\"", where, "give the number of a band as it was read, or L,a,b"};
}

}  // namespace bindhue::capture

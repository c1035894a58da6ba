// Bands of a photo put with the spools of the rack: what the command and the page tell of it.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include <nlohmann/json.hpp>

#include "colour/result.hpp"
#include "reading/reading.hpp"
#include "shop/enrol.hpp"

namespace bindhue::capture {

struct BandOfSpool {
    std::size_t band = 0;  // from 0
    std::string code;
};

// What enrol() takes. `source` and `date` are noted with each reading.
std::vector<ToEnrol> to_enrol(const WrapReading& reading, const std::vector<BandOfSpool>& of, const std::string& source, const std::string& date);

// A document: format "bindhue-spool-enrol". Precondition: enrolled from this reading by these bands.
nlohmann::ordered_json to_json(const WrapReading& reading, const std::vector<BandOfSpool>& of, const Enrolment& enrolment);

// Why nothing was kept: what the drift may mean, and what to do about it. `insist` ends the mend: how to say that the thread itself has changed.
// Precondition: one has drifted.
Error drift_refusal(const std::vector<BandOfSpool>& of, const Enrolment& enrolment, std::string_view insist);

}  // namespace bindhue::capture

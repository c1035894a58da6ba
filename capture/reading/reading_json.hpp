// Readings and ranked spools for machines, the same from every command and from the page. Fields are only ever added.
#pragma once

#include <vector>

#include <nlohmann/json.hpp>

#include "colour/ranking.hpp"
#include "reading/reading.hpp"

namespace bindhue::capture {

nlohmann::ordered_json to_json(const Lab<D50>& lab);
nlohmann::ordered_json to_json(const Matrix3& matrix);

// A document: format "bindhue-reading".
nlohmann::ordered_json to_json(const WrapReading& reading);

// A row. Precondition: ranked from this rack over these grounds.
nlohmann::ordered_json to_json(const Candidate& candidate, const Palette& rack,
                               const std::vector<Ground>& grounds);

}  // namespace bindhue::capture

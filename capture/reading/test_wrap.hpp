// A test wrap as it was read before and after coating, for the command and the page alike.
#pragma once

#include <cstddef>
#include <optional>
#include <string>

#include <nlohmann/json.hpp>

#include "colour/coat_check.hpp"
#include "colour/result.hpp"
#include "colour/spool.hpp"
#include "reading/reading.hpp"

namespace bindhue::capture {

// The wrap before coating, or after: one of the bands of a reading, or a colour as an instrument gave it.
struct TestWrapSide {
    const WrapReading* read = nullptr;
    Reading typed;         // where there is no reading
    std::size_t band = 0;  // from 1; 0: as same_wrap() finds it
};

struct TestWrapSaid {
    std::string spool;                      // its code, which says material and thickness; empty: as below
    Material material = Material::nylon;
    double size_mm = 0.15;
    std::string schedule;  // finish or preserver+finish
    std::string ground;    // as parse_grounds() takes it; empty: the blank as read before coating
    FinishUse finish{};    // where more than the schedule is known
};

// Errors: not_found (no such spool or band; no blank was read), bad_value (schedule, ground), cannot_measure (which wrap is which does not show).
Result<TestWrap> test_wrap(const TestWrapSide& before, const TestWrapSide& after, const TestWrapSaid& said, const Palette& rack);

// A document: format "bindhue-coat-check".
nlohmann::ordered_json to_json(const TestWrap& wrap, const CoatCheck& check);

// "as expected: the finished wrap is 2.3 CIEDE2000 (0.4 to 5.1) from what was expected (the best estimates lie 1.2 apart), and surely within 9.5."
// Says so where the wrap is uneven.
std::string verdict_in_words(const TestWrap& wrap, const CoatCheck& check);
// What the expectation rests on.
std::string expectation_in_words(const CoatCheck& check);

}  // namespace bindhue::capture

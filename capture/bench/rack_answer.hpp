// An audit of the rack, as the page draws and tells it.
#pragma once

#include "bench/answers.hpp"
#include "shop/rack_audit.hpp"

namespace bindhue::capture::bench {

// {state: "done", served_words, rests_words, served, tolerance, asked {jobs, looks}, levels [3] {name, open (data of an SVG path), dots[]}, rim {rings[] {chroma, radius}, hues[] {degrees, word}},
// gaps[], gaps_in_all, twins[], unneeded[], stock[]}. Places are in hundredths of a disc's radius, y down.
Answer rack_answer(const RackAudit& found, const AuditWish& wish);

}  // namespace bindhue::capture::bench

// What the bench page is told, as JSON: the same readings and the same ranking as the commands give.
#pragma once

#include <filesystem>
#include <map>
#include <string>

#include <nlohmann/json.hpp>

#include "bench/reading_queue.hpp"
#include "colour/result.hpp"
#include "shop/card_layout.hpp"

namespace bindhue::capture::bench {

using Answer = nlohmann::ordered_json;
// A query's fields, each as often as it is there.
using Query = std::multimap<std::string, std::string>;

// The first of a field; empty if there is none.
std::string one_of(const Query& query, const std::string& field);

// Format and version 1.
Answer opening(const char* format);

Answer error_answer(const Error& error);

// A colour for a screen: sRGB, whether sRGB has it at all, and its words.
Answer on_screen(const Lab<D50>& lab);

// A reading: its colour, its covariance and both for a screen.
Answer seen(const Reading& reading);

// What there is: the card, how many spools, the schedules and materials. A file that can't be read is said in `spools_error` and `settings_error`.
Answer shop_answer(const std::filesystem::path& shop, const CardLayout& card);

// Spools in the rack's order, with the best that is known of their dry colours. Query: `find`, a part of code, name, material, size or lot, capitals or not;
// `top` (1 to 500). Answers {in_all, found, spools[]}. Errors: bad_value, storage and those of the rack.
Result<Answer> spools_answer(const std::filesystem::path& shop, const Query& query);

// Where a photo's reading stands; the reading itself, with each band's colour for the screen, once it is done.
Answer state_answer(const PhotoState& state);

// Ranks the rack against a band. Query: `band` (from 1), `ground` and `schedule` (each perhaps several times; as
// bindhue match takes them), `tolerance` (0.1 to 20), `top` (1 to 50), `light` (perhaps several times: the difference under it too), `as_new` (1: as it
// looked when its finish was clear) with `amber`, or `amber_bare` and `amber_coated` (see OldFinishSaid). Errors: bad_value, not_found,
// cannot_measure, storage.
Result<Answer> match_answer(const WrapReading& reading, const std::filesystem::path& shop, const Query& query);

}  // namespace bindhue::capture::bench

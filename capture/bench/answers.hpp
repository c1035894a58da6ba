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

// Format and version 1.
Answer opening(const char* format);

Answer error_answer(const Error& error);

// A colour for a screen: sRGB, whether sRGB has it at all, and its words.
Answer on_screen(const Lab<D50>& lab);

// What there is: the card, the spools with the best that is known of their dry colours, the schedules. A rack that can't be read is said in `spools_error`.
Answer shop_answer(const std::filesystem::path& shop, const CardLayout& card);

// Where a photo's reading stands; the reading itself, with each band's colour for the screen, once it is done.
Answer state_answer(const PhotoState& state);

// Ranks the rack against a band. Query: `band` (from 1), `ground` and `schedule` (each perhaps several times; as
// bindhue match takes them), `tolerance` (0.1 to 20), `top` (1 to 50). Errors: bad_value, not_found, storage.
Result<Answer> match_answer(const WrapReading& reading, const std::filesystem::path& shop, const Query& query);

}  // namespace bindhue::capture::bench

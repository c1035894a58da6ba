// Does the renderer keep its own promises?
#pragma once

#include "card.hpp"

namespace bindhue::render {

// Prints each finding; false if one is out of bounds. Two promises: what is drawn is the truth (a camera that sees as the
// standard observer does, and no nuisance, must read the truth off the crest), and coats do to thread what the trade says.
bool check(const CardPrint& card);

}  // namespace bindhue::render

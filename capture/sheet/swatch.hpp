// Colours and columns for a terminal.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

#include "colour/spaces.hpp"

namespace bindhue::capture {

// Four cells in the colour (24-bit, sRGB, clipped to it), or nothing if the terminal has no colour.
std::string swatch(const Lab<D50>& lab, bool terminal_has_colour);

// "#rrggbb", sRGB, clipped to it.
std::string screen_hex(const Lab<D50>& lab);

// Cells that a UTF-8 text takes on a terminal: marks that combine take none, East Asian wide characters two,
// a swatch its four.
std::size_t width_on_terminal(std::string_view text);

// Control characters become '?', so that no text from a file can steer the terminal; only swatches pass.
std::string harmless(std::string_view text);

// Columns under their headings. Numbers stand to the right, everything else to the left; a column without a
// heading and without a cell is left out. Cells are harmless().
class Table {
  public:
    explicit Table(std::vector<std::string> headings);

    // Cells beyond the headings are dropped, missing ones are empty.
    void add(std::vector<std::string> row);

    std::string text() const;  // each line ends in a line feed

  private:
    std::vector<std::string> headings_;
    std::vector<std::vector<std::string>> rows_;
};

}  // namespace bindhue::capture

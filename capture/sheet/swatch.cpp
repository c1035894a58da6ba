#include "sheet/swatch.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <utility>

#include "colour/adaptation.hpp"
#include "sheet/number.hpp"

namespace bindhue::capture {
namespace {

constexpr std::string_view swatch_begin = "\x1b[48;2;", swatch_end = "\x1b[0m";

// Length of the part of a swatch that takes no cell and stands at the start of the text; 0 if none.
std::size_t swatch_escape(std::string_view text) {
    if (text.starts_with(swatch_end)) return swatch_end.size();
    if (!text.starts_with(swatch_begin)) return 0;
    const std::size_t end = text.find_first_not_of("0123456789;", swatch_begin.size());
    return end != std::string_view::npos && text[end] == 'm' && end < swatch_begin.size() + 12 ? end + 1 : 0;
}

struct Character {
    std::uint32_t code = 0;
    std::size_t bytes = 1;
    bool valid = false;
};

// RFC 3629: no overlong forms, no surrogates, nothing beyond U+10FFFF.
Character first_character(std::string_view text) {
    const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[i]); };
    if (byte(0) < 0x80) return {byte(0), 1, true};
    const std::size_t n = byte(0) >= 0xF0 ? 4 : byte(0) >= 0xE0 ? 3 : 2;
    if (byte(0) < 0xC2 || byte(0) > 0xF4 || text.size() < n) return {};
    std::uint32_t code = byte(0) & (0xFFu >> (n + 1));
    for (std::size_t i = 1; i < n; ++i) {
        if ((byte(i) & 0xC0) != 0x80) return {};
        code = code << 6 | (byte(i) & 0x3Fu);
    }
    constexpr std::array<std::uint32_t, 5> least{0, 0, 0x80, 0x800, 0x10000};
    if (code < least[n] || (code >= 0xD800 && code <= 0xDFFF) || code > 0x10FFFF) return {};
    return {code, n, true};
}

using Ranges = std::pair<std::uint32_t, std::uint32_t>;

template <std::size_t n>
bool within(const std::array<Ranges, n>& ranges, std::uint32_t code) {
    return std::any_of(ranges.begin(), ranges.end(),
                       [&](const Ranges& r) { return code >= r.first && code <= r.second; });
}

// The common ones, after Unicode's general categories Mn and Cf, and its report 11 on East Asian width.
constexpr std::array no_cell{Ranges{0x300, 0x36F}, Ranges{0x200B, 0x200F}, Ranges{0x20D0, 0x20FF},
                             Ranges{0xFE00, 0xFE0F}};
constexpr std::array two_cells{Ranges{0x1100, 0x115F}, Ranges{0x2E80, 0xA4CF},   Ranges{0xAC00, 0xD7A3},
                               Ranges{0xF900, 0xFAFF}, Ranges{0xFE30, 0xFE6F},   Ranges{0xFF00, 0xFF60},
                               Ranges{0xFFE0, 0xFFE6}, Ranges{0x1F300, 0x1FAFF}, Ranges{0x20000, 0x3FFFD}};
// C0, DEL and C1 controls; line and paragraph separators; characters that turn the direction of text round.
constexpr std::array steering{Ranges{0, 0x1F}, Ranges{0x7F, 0x9F}, Ranges{0x2028, 0x202E},
                              Ranges{0x2066, 0x2069}};

bool looks_like_number(const std::string& cell) {
    return cell.empty() || cell == "-" ||
           (cell.find_first_not_of("0123456789.+-% ") == std::string::npos &&
            cell.find_first_of("0123456789") != std::string::npos);
}

}  // namespace

std::string harmless(std::string_view text) {
    std::string out;
    while (!text.empty()) {
        if (const std::size_t escape = swatch_escape(text)) {
            out += text.substr(0, escape);
            text.remove_prefix(escape);
            continue;
        }
        const Character c = first_character(text);
        if (c.valid && !within(steering, c.code))
            out += text.substr(0, c.bytes);
        else
            out += '?';
        text.remove_prefix(c.bytes);
    }
    return out;
}

std::string swatch(const Lab<D50>& lab, bool terminal_has_colour) {
    if (!terminal_has_colour) return {};
    const EncodedSrgb c = to_display(lab);
    const auto level = [](double v) { return static_cast<int>(std::lround(255 * std::clamp(v, 0.0, 1.0))); };
    char begin[32];
    std::snprintf(begin, sizeof begin, "%s%d;%d;%dm", swatch_begin.data(), level(c.r), level(c.g),
                  level(c.b));
    return std::string(begin).append(4, ' ').append(swatch_end);
}

std::string screen_hex(const Lab<D50>& lab) {
    const EncodedSrgb shown = to_display(lab);
    const auto byte = [](double v) { return static_cast<unsigned>(std::lround(255 * v)); };
    return formatted("#%02x%02x%02x", byte(shown.r), byte(shown.g), byte(shown.b));
}

std::size_t width_on_terminal(std::string_view text) {
    std::size_t width = 0;
    while (!text.empty()) {
        if (const std::size_t escape = swatch_escape(text)) {
            text.remove_prefix(escape);
            continue;
        }
        const Character c = first_character(text);
        if (!c.valid || !within(no_cell, c.code)) width += c.valid && within(two_cells, c.code) ? 2 : 1;
        text.remove_prefix(c.bytes);
    }
    return width;
}

Table::Table(std::vector<std::string> headings) : headings_(std::move(headings)) {
    for (std::string& heading : headings_) heading = harmless(heading);
}

void Table::add(std::vector<std::string> row) {
    row.resize(headings_.size());
    for (std::string& cell : row) cell = harmless(cell);
    rows_.push_back(std::move(row));
}

std::string Table::text() const {
    struct Column {
        std::size_t index = 0, width = 0;
        bool numbers = true;
    };
    std::vector<Column> columns;
    for (std::size_t i = 0; i < headings_.size(); ++i) {
        Column column{i, width_on_terminal(headings_[i])};
        for (const auto& row : rows_) {
            column.width = std::max(column.width, width_on_terminal(row[i]));
            column.numbers = column.numbers && looks_like_number(row[i]);
        }
        if (column.width > 0) columns.push_back(column);
    }
    std::string out;
    const auto line = [&](const std::vector<std::string>& cells) {
        std::string padding;
        for (const Column& column : columns) {
            const std::string& cell = cells[column.index];
            const std::size_t space = column.width - width_on_terminal(cell);
            if (column.numbers) padding.append(space, ' ');
            if (!cell.empty()) {
                out += padding;
                out += cell;
                padding.clear();
            }
            if (!column.numbers) padding.append(space, ' ');
            padding.append(2, ' ');
        }
        out += '\n';
    };
    line(headings_);
    for (const auto& row : rows_) line(row);
    return out;
}

}  // namespace bindhue::capture

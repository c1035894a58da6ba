// How a shop likes its sheets: units, paper, its trade's words, its own waiting times and prices (settings.json, palettes/settings.schema.json).
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "colour/result.hpp"
#include "shop/shop.hpp"

namespace bindhue::capture {

enum class Units { mm, inches };
std::string_view name(Units units);
Result<Units> parse_units(std::string_view word);

enum class Paper { a4, letter };
std::string_view name(Paper paper);
Result<Paper> parse_paper(std::string_view word);

enum class Dates { year_first, day_first, month_first };  // 2026-11-27; 27 November 2026; November 27, 2026
std::string_view name(Dates dates);                      // "year-month-day" and so on
Result<Dates> parse_dates(std::string_view word);

// What thread round a guide's foot is called, and what it holds: the words of regions.
enum class WrapWord { wrap, whip, bind };
std::string_view name(WrapWord word);
Result<WrapWord> parse_wrap_word(std::string_view word);
enum class GuideWord { guide, ring, eye };
std::string_view name(GuideWord word);
Result<GuideWord> parse_guide_word(std::string_view word);

// In the shop's own money; what is 0 costs nothing of its own.
struct Prices {
    std::string currency;  // as it is to be printed, at most 8 characters
    double wrap = 0;       // each, 0 to 1e6
    double metre = 0;      // of thread that the job takes, 0 to 1e6
    double ml = 0;         // of finish mixed, 0 to 1e6
};

struct Settings {
    std::string shop_name;  // on what goes to customers; at most 100 bytes
    Units units = Units::mm;
    Paper paper = Paper::a4;
    Dates dates = Dates::year_first;
    WrapWord wrap = WrapWord::wrap;
    GuideWord guide = GuideWord::guide;
    // Hours that this shop waits, 0.1 to 1000; none: common practice is printed, to be set by the maker's sheet.
    std::optional<double> preserver_h, next_coat_h, last_coat_h;
    std::optional<Prices> prices;  // none: no quote
    std::string unknown;           // JSON object of fields that are not ours, or empty
    std::string unknown_prices;
};

// Errors: bad_format, bad_value, with the place.
Result<Settings> read_settings(std::string_view text, const std::string& where);
Result<std::string> write_settings(const Settings& settings);

// Of a shop without settings.json the usual ones. Errors: as above, and storage.
Result<Settings> load_settings(const Shop& shop);
// Precondition: the shop is opened for change. Errors: bad_value (a text is no UTF-8); storage.
Status save_settings(const Shop& shop, const Settings& settings);

// A text with the shop's words in it: {wrap} {wraps} {Wrap} {Wraps} {guide} {guides}.
std::string in_words_of(const Settings& settings, std::string text);

// A date such as 2026-11-27 as the shop writes it; a text that is none stays as it is.
std::string date_of(const Settings& settings, const std::string& date);

}  // namespace bindhue::capture

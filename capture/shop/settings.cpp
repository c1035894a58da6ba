#include "shop/settings.hpp"

#include <array>
#include <utility>

#include "shop/atomic_file.hpp"
#include "shop/formats.hpp"
#include "shop/json_text.hpp"
#include "shop/numbers.hpp"

namespace bindhue::capture {
namespace {

constexpr std::array unit_words{"mm", "inches"}, paper_words{"a4", "letter"};
constexpr std::array date_words{"year-month-day", "day-month-year", "month-day-year"};
constexpr std::array wrap_words{"wrap", "whip", "bind"}, guide_words{"guide", "ring", "eye"};
constexpr double least_h = 0.1, most_h = 1000, most_money = 1e6;
constexpr std::size_t longest_name = 100, longest_currency = 8;

template <class T, std::size_t n>
Result<T> word_of(std::string_view word, const std::array<const char*, n>& words, const char* what) {
    std::string all;
    for (std::size_t i = 0; i < n; ++i) {
        if (word == words[i]) return static_cast<T>(i);
        all.append(i == 0 ? "" : ", ").append(words[i]);
    }
    return Error{Reason::bad_value, std::string("\"").append(word).append("\" is no ").append(what).append("."), "", std::string("Write one of: ").append(all).append(".")};
}

std::string text_up_to(const JsonCursor& at, std::size_t most) {
    std::string out = at.text();
    if (out.size() > most) at.fail(Reason::bad_value, "This text is too long.", "Write at most " + std::to_string(most) + " bytes.");
    return out;
}

std::optional<double> hours(const JsonCursor& root, const char* field) {
    const auto at = root.find(field);
    return at ? std::optional(at->number(least_h, most_h)) : std::nullopt;
}

double money(const JsonCursor& prices, const char* field) {
    const auto at = prices.find(field);
    return at ? at->number(0, most_money) : 0;
}

std::filesystem::path path_in(const Shop& shop) { return shop.folder() / "settings.json"; }

}  // namespace

std::string_view name(Units units) { return unit_words[static_cast<std::size_t>(units)]; }
std::string_view name(Paper paper) { return paper_words[static_cast<std::size_t>(paper)]; }
std::string_view name(Dates dates) { return date_words[static_cast<std::size_t>(dates)]; }
std::string_view name(WrapWord word) { return wrap_words[static_cast<std::size_t>(word)]; }
std::string_view name(GuideWord word) { return guide_words[static_cast<std::size_t>(word)]; }
Result<Units> parse_units(std::string_view word) { return word_of<Units>(word, unit_words, "unit of ours"); }
Result<Paper> parse_paper(std::string_view word) { return word_of<Paper>(word, paper_words, "paper of ours"); }
Result<Dates> parse_dates(std::string_view word) { return word_of<Dates>(word, date_words, "order of a date"); }
Result<WrapWord> parse_wrap_word(std::string_view word) { return word_of<WrapWord>(word, wrap_words, "word for a wrap"); }
Result<GuideWord> parse_guide_word(std::string_view word) { return word_of<GuideWord>(word, guide_words, "word for a guide"); }

Result<Settings> read_settings(std::string_view text, const std::string& where) {
    Result<JsonDocument> document = read_format(text, where, settings_format);
    if (!document) return document.error();
    const JsonCursor root = document->root();
    Settings out;
    if (const auto at = root.find("shop_name")) out.shop_name = text_up_to(*at, longest_name);
    if (const auto at = root.find("units")) out.units = at->word(parse_units);
    if (const auto at = root.find("paper")) out.paper = at->word(parse_paper);
    if (const auto at = root.find("dates")) out.dates = at->word(parse_dates);
    if (const auto at = root.find("wrap")) out.wrap = at->word(parse_wrap_word);
    if (const auto at = root.find("guide")) out.guide = at->word(parse_guide_word);
    out.preserver_h = hours(root, "preserver_h");
    out.next_coat_h = hours(root, "next_coat_h");
    out.last_coat_h = hours(root, "last_coat_h");
    if (const auto at = root.find("prices")) {
        out.prices.emplace();
        out.prices->currency = text_up_to((*at)["currency"], longest_currency);
        out.prices->wrap = money(*at, "wrap");
        out.prices->metre = money(*at, "metre");
        out.prices->ml = money(*at, "ml");
        out.unknown_prices = at->unknown({"currency", "wrap", "metre", "ml"});
    }
    out.unknown = root.unknown({"format", "version", "shop_name", "units", "paper", "dates", "wrap", "guide", "preserver_h", "next_coat_h", "last_coat_h", "prices"});
    if (document->error()) return *document->error();
    return out;
}

Result<std::string> write_settings(const Settings& settings) {
    Json root = opening(settings_format);
    root["shop_name"] = settings.shop_name;
    root["units"] = name(settings.units);
    root["paper"] = name(settings.paper);
    root["dates"] = name(settings.dates);
    root["wrap"] = name(settings.wrap);
    root["guide"] = name(settings.guide);
    for (const auto& [field, h] : {std::pair{"preserver_h", settings.preserver_h}, {"next_coat_h", settings.next_coat_h}, {"last_coat_h", settings.last_coat_h}})
        if (h) root[field] = *h;
    if (settings.prices) {
        root["prices"] = {{"currency", settings.prices->currency}, {"wrap", settings.prices->wrap}, {"metre", settings.prices->metre}, {"ml", settings.prices->ml}};
        add_unknown(root["prices"], settings.unknown_prices);
    }
    add_unknown(root, settings.unknown);
    return to_text(root);
}

Result<Settings> load_settings(const Shop& shop) {
    const std::filesystem::path path = path_in(shop);
    const Result<std::string> text = read_file(path);
    if (!text && text.error().reason == Reason::not_found) return Settings{};
    if (!text) return text.error();
    return read_settings(*text, path.string());
}

Status save_settings(const Shop& shop, const Settings& settings) {
    const Result<std::string> text = write_settings(settings);
    if (!text) return text.error();
    return save_in_format(path_in(shop), *text, settings_format);
}

std::string date_of(const Settings& settings, const std::string& date) {
    constexpr std::array months{"January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December"};
    const auto part = [&](std::size_t at, std::size_t size) { return whole_number(date.substr(at, size)).value_or(0); };
    if (settings.dates == Dates::year_first || date.size() != 10 || date[4] != '-' || date[7] != '-') return date;
    const std::size_t year = part(0, 4), month = part(5, 2), day = part(8, 2);
    if (year == 0 || month < 1 || month > months.size() || day < 1 || day > 31) return date;
    const std::string name = months[month - 1], of_month = std::to_string(day), of_year = date.substr(0, 4);
    return settings.dates == Dates::day_first ? of_month + " " + name + " " + of_year : name + " " + of_month + ", " + of_year;
}

std::string in_words_of(const Settings& settings, std::string text) {
    constexpr std::array<std::array<const char*, 2>, 3> wraps{{{"wrap", "Wrap"}, {"whipping", "Whipping"}, {"binding", "Binding"}}};
    const auto& wrap = wraps[static_cast<std::size_t>(settings.wrap)];
    const std::string guide(name(settings.guide));
    for (const auto& [word, said] : {std::pair<const char*, std::string>{"{wrap}", wrap[0]}, {"{wraps}", std::string(wrap[0]) + "s"}, {"{Wrap}", wrap[1]}, {"{Wraps}", std::string(wrap[1]) + "s"}, {"{guide}", guide}, {"{guides}", guide + "s"}})
        for (std::size_t at = 0; (at = text.find(word, at)) != std::string::npos; at += said.size()) text.replace(at, std::char_traits<char>::length(word), said);
    return text;
}

}  // namespace bindhue::capture

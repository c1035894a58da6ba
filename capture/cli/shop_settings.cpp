#include <iostream>
#include <memory>

#include "cli/command.hpp"
#include "cli/rack.hpp"
#include "cli/shop.hpp"
#include "sheet/swatch.hpp"
#include "shop/settings.hpp"

namespace bindhue::capture::cli {
namespace {

using nlohmann::ordered_json;

struct SettingsCommand {
    std::string shop;
    std::optional<std::string> shop_name, units, paper, dates, wrap, guide, currency;
    std::optional<double> preserver_h, next_coat_h, last_coat_h, per_wrap, per_metre, per_ml;
    bool no_prices = false, json = false;

    bool changes() const {
        return shop_name || units || paper || dates || wrap || guide || currency || preserver_h || next_coat_h || last_coat_h || per_wrap || per_metre || per_ml || no_prices;
    }

    int run() const {
        const Result<Shop> opened = open_shop(shop, changes() ? Access::change : Access::read);
        if (!opened) return fail(opened.error());
        Result<Settings> settings = load_settings(*opened);
        if (!settings) return fail(settings.error());
        if (changes()) {
            if (const Status changed = change(*settings); !changed) return fail(changed.error());
            const Result<std::string> text = write_settings(*settings);
            if (!text) return fail(text.error());
            if (const auto readable = read_settings(*text, "the settings"); !readable) return fail(readable.error());
            if (const Status saved = save_settings(*opened, *settings); !saved) return fail(saved.error());
        }
        if (json)
            print_json(document(*settings));
        else
            print(*settings);
        return done;
    }

    Status change(Settings& s) const {
        const auto take = [](const std::optional<std::string>& word, auto parse, auto& field) -> Status {
            if (!word) return ok();
            const auto value = parse(*word);
            if (!value) return value.error();
            field = *value;
            return ok();
        };
        for (const Status& status : {take(units, parse_units, s.units), take(paper, parse_paper, s.paper), take(dates, parse_dates, s.dates), take(wrap, parse_wrap_word, s.wrap), take(guide, parse_guide_word, s.guide)})
            if (!status) return status;
        if (shop_name) s.shop_name = *shop_name;
        // 0 takes a waiting time back.
        for (const auto& [wanted, field] : {std::pair{preserver_h, &s.preserver_h}, {next_coat_h, &s.next_coat_h}, {last_coat_h, &s.last_coat_h}})
            if (wanted) *field = *wanted > 0 ? wanted : std::nullopt;
        if (no_prices) {
            s.prices.reset();
            s.unknown_prices.clear();
        }
        if (currency || per_wrap || per_metre || per_ml) {
            if (!s.prices) s.prices.emplace();
            s.prices->currency = currency.value_or(s.prices->currency);
            s.prices->wrap = per_wrap.value_or(s.prices->wrap);
            s.prices->metre = per_metre.value_or(s.prices->metre);
            s.prices->ml = per_ml.value_or(s.prices->ml);
        }
        return ok();
    }

    static ordered_json document(const Settings& s) {
        const auto hours = [](const std::optional<double>& h) { return h ? ordered_json(*h) : ordered_json(nullptr); };
        ordered_json out{{"format", "bindhue-shop-settings"}, {"version", 1}, {"shop_name", s.shop_name}, {"units", name(s.units)}, {"paper", name(s.paper)}, {"dates", name(s.dates)},
                         {"wrap", name(s.wrap)}, {"guide", name(s.guide)}, {"preserver_h", hours(s.preserver_h)}, {"next_coat_h", hours(s.next_coat_h)},
                         {"last_coat_h", hours(s.last_coat_h)}, {"prices", nullptr}};
        if (s.prices) out["prices"] = {{"currency", s.prices->currency}, {"wrap", s.prices->wrap}, {"metre", s.prices->metre}, {"ml", s.prices->ml}};
        return out;
    }

    static void print(const Settings& s) {
        Table table({"setting", "is"});
        const auto hours = [](const std::optional<double>& h) { return h ? number("%g h", *h) : std::string("common practice"); };
        const auto price = [&](double amount) { return number("%.2f ", amount) + harmless(s.prices->currency); };
        table.add({"shop name", s.shop_name.empty() ? "-" : harmless(s.shop_name)});
        table.add({"units", std::string(name(s.units))});
        table.add({"paper", std::string(name(s.paper))});
        table.add({"dates", date_of(s, today())});
        table.add({"words", in_words_of(s, "{wrap}, {guide}")});
        table.add({"after preserver", hours(s.preserver_h)});
        table.add({"to the next coat", hours(s.next_coat_h)});
        table.add({"after the last coat", hours(s.last_coat_h)});
        if (s.prices)
            table.add({"prices", price(s.prices->wrap) + " a wrap, " + price(s.prices->metre) + " a metre, " + price(s.prices->ml) + " a ml"});
        else
            table.add({"prices", "none: no quote"});
        std::cout << table.text();
    }
};

}  // namespace

void add_shop_settings(CLI::App& shop, int& exit_code) {
    auto command = std::make_shared<SettingsCommand>();
    CLI::App* settings = shop.add_subcommand("settings", "Units, paper, dates, words, waiting times and prices of the shop's sheets; shows them, and changes what is given");
    add_shop_option(*settings, command->shop);
    settings->add_option("--shop-name", command->shop_name, "On the customer's note");
    settings->add_option("--units", command->units, "mm or inches");
    settings->add_option("--paper", command->paper, "a4 or letter");
    settings->add_option("--dates", command->dates, "year-month-day, day-month-year or month-day-year");
    settings->add_option("--wrap-word", command->wrap, "wrap, whip or bind");
    settings->add_option("--guide-word", command->guide, "guide, ring or eye");
    const CLI::Range hours(0.0, 1000.0), money(0.0, 1e6);
    settings->add_option("--preserver-hours", command->preserver_h, "That this shop waits after preserver; 0: common practice")->check(hours);
    settings->add_option("--next-coat-hours", command->next_coat_h, "From one coat of finish to the next")->check(hours);
    settings->add_option("--last-coat-hours", command->last_coat_h, "After the last coat")->check(hours);
    settings->add_option("--currency", command->currency, "As it is printed, for example EUR");
    settings->add_option("--per-wrap", command->per_wrap, "Price of each wrap")->check(money);
    settings->add_option("--per-metre", command->per_metre, "Price of each metre of thread")->check(money);
    settings->add_option("--per-ml", command->per_ml, "Price of each millilitre of finish")->check(money);
    settings->add_flag("--no-prices", command->no_prices, "Take all prices back: no quote is made");
    settings->add_flag("--json", command->json, "For machines");
    settings->footer("Example: bindhue shop settings --units inches --paper letter --wrap-word whip --guide-word ring");
    settings->callback([command, &exit_code] { exit_code = command->run(); });
}

}  // namespace bindhue::capture::cli

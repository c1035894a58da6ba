#include "cli/rack.hpp"

#include <algorithm>

#include "cli/command.hpp"
#include "shop/coat_tests.hpp"
#include "shop/shop.hpp"

namespace bindhue::capture::cli {

void add_shop_option(CLI::App& command, std::string& folder) {
    command.add_option("--shop", folder, "Folder of the shop (default: under your data directory)");
}

Result<std::filesystem::path> shop_folder(const std::string& folder) {
    return folder.empty() ? default_shop_folder() : std::filesystem::path(folder);
}

Result<SpoolFile> spools_of(const std::string& folder) {
    const Result<std::filesystem::path> where = shop_folder(folder);
    if (!where) return where.error();
    const Result<Shop> shop = Shop::open(*where, Access::read);
    if (!shop) return shop.error();
    return shop->spools();
}

Result<CoatModel> coat_model_of(const std::string& folder) {
    const Result<std::filesystem::path> where = shop_folder(folder);
    if (!where) return where.error();
    const Result<CoatTestFile> file = load_coat_tests(*where);
    if (!file) return file.error();
    return CoatModel(file->tests());
}

std::string rests_on(std::size_t coat_tests) { return coat_tests == 0 ? "prior" : std::to_string(coat_tests); }

std::string rests_on_in_words(bool some, bool others) {
    std::string out;
    if (some) out += "tests: coat tests of this shop, of that material and schedule, that the finished look rests on.\n";
    if (others)
        out += "prior: no coat test of that material and schedule yet, so the finished look is reckoned from optics alone (see bindhue "
               "coat add).\n";
    return out;
}

Result<std::vector<Ground>> parse_grounds(const std::vector<std::string>& texts,
                                          const std::optional<Reading>& blank, const Palette& rack,
                                          const ReadingContext& context) {
    std::vector<Ground> out;
    for (const std::string& text : texts) {
        Ground ground;
        ground.label = text;
        const auto spool = std::find_if(rack.begin(), rack.end(),
                                        [&](const Spool& s) { return "underwrap:" + s.code == text; });
        if (text == "blank") {
            if (!blank)
                return Error{Reason::not_found, "no bare blank was seen", "--ground",
                             "give the blank's colour as --ground L,a,b"};
            ground.colour = *blank;
        } else if (text == "white") {
            // A guess at white thread or paint, give or take 2.
            ground.colour = {{92, 0, 2}, Matrix3::diagonal({4, 1, 4}), {}};
            ground.extra_steps = 1;
        } else if (text == "dark") {
            // A guess at graphite where no blank was measured: L* 18, give or take 8.
            ground.colour = {{18, 0, 0}, Matrix3::diagonal({64, 4, 4}), {}};
            ground.label = "dark blank (assumed)";
        } else if (spool != rack.end()) {
            ground.colour = spool->reading_for(context);
            ground.extra_steps = 1;
        } else if (text.starts_with("underwrap:")) {
            return Error{Reason::not_found, "no spool has the code \"" + text.substr(10) + "\"", "--ground",
                         "see the codes in the shop's spools.json"};
        } else {
            const auto numbers = parse_numbers(text, 3, "--ground");
            if (!numbers)
                return Error{Reason::bad_value, "\"" + text + "\" is no ground", "--ground",
                             "write blank, white, dark, underwrap:CODE or L,a,b"};
            ground.colour = {Lab<D50>::from({(*numbers)[0], (*numbers)[1], (*numbers)[2]}),
                             Matrix3::diagonal({1, 1, 1}),
                             {}};
        }
        out.push_back(std::move(ground));
    }
    return out;
}

Result<std::vector<Schedule>> parse_schedules(const std::vector<std::string>& texts) {
    std::vector<Schedule> out;
    for (const std::string& text : texts) {
        const Result<Schedule> schedule = parse_schedule(text);
        if (!schedule) return schedule.error();
        out.push_back(*schedule);
    }
    return out;
}

}  // namespace bindhue::capture::cli

#include "shop/grounds.hpp"

#include <algorithm>

#include "shop/numbers.hpp"

namespace bindhue::capture {

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

Status check_ground(const std::string& text) {
    constexpr std::string_view underwrap = "underwrap:";
    if (text == "blank" || text == "white" || text == "dark") return ok();
    if (text.starts_with(underwrap) && text.size() > underwrap.size()) return ok();
    if (parse_numbers(text, 3, "ground")) return ok();
    return Error{Reason::bad_value, "\"" + text + "\" is no ground", "ground", "write blank, white, dark, underwrap:CODE or L,a,b"};
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

}  // namespace bindhue::capture

#include <iostream>
#include <memory>

#include "cli/coat.hpp"
#include "cli/rack.hpp"
#include "sheet/coat_picture.hpp"
#include "sheet/swatch.hpp"

namespace bindhue::capture::cli {
namespace {

using nlohmann::ordered_json;

ordered_json to_json(const Estimate& e) { return {{"value", e.value}, {"interval", {e.low, e.high}}}; }

ordered_json to_json(const ColourShift& shift) {
    return {{"L", to_json(shift.L)}, {"a", to_json(shift.a)}, {"b", to_json(shift.b)},
            {"C", to_json(shift.C)}, {"h", shift.h ? to_json(*shift.h) : ordered_json()}, {"delta_e", to_json(shift.delta_e)}};
}

std::string interval(const Estimate& e) {
    return number("%+.1f", e.value) + " (" + number("%.1f", e.low) + " to " + number("%.1f", e.high) + ")";
}

struct CheckCommand {
    TestWrapArguments wrap;
    BesideArguments beside;
    std::string shop, picture;
    double tolerance = 2;
    bool json = false;

    std::optional<std::string> misuse() const {
        if (!beside.given()) return wrap.misuse();
        if (!wrap.before.empty() || !wrap.after.empty() || !picture.empty()) return "--beside stands alone, without --before, --after and --picture";
        return beside.misuse();
    }

    int run() const {
        if (const auto wrong = misuse()) {
            std::cerr << "bindhue: " << *wrong << "\n  what to do: see bindhue coat check --help\n";
            return wrong_usage;
        }
        if (beside.given()) return beside.run(wrap.photo, tolerance, json);
        const Result<CoatModel> model = coat_model_of(shop);
        if (!model) return fail(model.error());
        const Result<TestWrap> read = wrap.read(shop);
        if (!read) return fail(read.error());
        const Result<CoatCheck> check = check_coat(*model, *read, tolerance);
        if (!check) return fail(check.error());
        if (!picture.empty())
            if (const Status drawn = write_coat_check_picture(*read, *check, picture); !drawn) return fail(drawn.error());
        if (json)
            print_json(document(*read, *check));
        else
            print(*read, *check);
        return done;
    }

    ordered_json document(const TestWrap& read, const CoatCheck& check) const {
        return {{"format", "bindhue-coat-check"},
                {"version", 1},
                {"material", name(read.material)},
                {"size_mm", read.size_mm},
                {"schedule", name(read.schedule)},
                {"ground_lab", capture::to_json(read.ground.lab)},
                {"dry_lab", capture::to_json(read.dry.lab)},
                {"finished_lab", capture::to_json(read.finished.lab)},
                {"expected_lab", capture::to_json(check.expected_look.lab)},
                {"expected_covariance", capture::to_json(check.expected_look.covariance)},
                {"coat_tests", check.coat_tests},
                {"shift", to_json(check.measured)},
                {"expected_shift", to_json(check.expected)},
                {"off", to_json(check.off)},
                {"best_estimates_apart", check.best_estimates_apart},
                {"limit", check.limit},
                {"leans", check.leans},
                {"verdict", name(check.verdict)}};
    }

    void print(const TestWrap& read, const CoatCheck& check) const {
        const bool colour = terminal_has_colour();
        Table looks({"", "", "L* a* b*", "95 % +-"});
        looks.add({"dry", swatch(read.dry.lab, colour), in_words(read.dry.lab), spread_in_words(read.dry.covariance)});
        looks.add({"finished", swatch(read.finished.lab, colour), in_words(read.finished.lab), spread_in_words(read.finished.covariance)});
        looks.add({"as expected", swatch(check.expected_look.lab, colour), in_words(check.expected_look.lab),
                   spread_in_words(check.expected_look.covariance)});
        std::cout << name(read.material) << ", " << number("%.2f", read.size_mm) << " mm, " << name(read.schedule) << ", over a ground of L* a* b* "
                  << in_words(read.ground.lab) << "\n\n"
                  << looks.text() << '\n';
        Table shifts({"shift by coating", "measured (95 %)", "expected (95 %)"});
        const auto hue = [](const ColourShift& s) { return s.h ? interval(*s.h) : std::string("too grey to say"); };
        shifts.add({"L*", interval(check.measured.L), interval(check.expected.L)});
        shifts.add({"C*", interval(check.measured.C), interval(check.expected.C)});
        shifts.add({"h, degrees", hue(check.measured), hue(check.expected)});
        shifts.add({"CIEDE2000", interval(check.measured.delta_e), interval(check.expected.delta_e)});
        std::cout << shifts.text() << '\n' << name(check.verdict) << ": the finished wrap is " << number("%.1f", check.off.value) << " CIEDE2000 ("
                  << number("%.1f", check.off.low) << " to " << number("%.1f", check.off.high) << ") from what was expected (the best estimates lie "
                  << number("%.1f", check.best_estimates_apart) << " apart)";
        switch (check.verdict) {
            case CoatVerdict::as_expected:
                std::cout << ", and surely within " << number("%.1f", check.limit) << ".\n";
                break;
            case CoatVerdict::not_as_expected:
                std::cout << ", more than readings and expectation err by" << (check.leans.empty() ? "" : "; it is " + check.leans)
                          << ".\n  Look for a blotchy or thin coat, preserver that did not seal, another spool, another ground.\n";
                break;
            case CoatVerdict::cannot_tell:
                std::cout << ", which fits; but a coat that is off by " << number("%.1f", check.limit) << " could look the same.\n"
                          << (check.coat_tests == 0 ? "  The expectation is wide: keep coat tests of this material and schedule (bindhue coat add).\n"
                                                    : "  More coat tests, or readings that are surer, narrow it down.\n");
                break;
        }
        std::cout << (check.coat_tests == 0 ? std::string("The expectation is reckoned from optics, and from tests of other kinds where there are some; no coat test of this material and schedule yet.\n")
                                            : "The expectation rests on " + std::to_string(check.coat_tests) +
                                                  (check.coat_tests == 1 ? " coat test" : " coat tests") + " of this material and schedule.\n");
        const bool photos = !read.dry.context.card.empty() && !read.finished.context.card.empty();
        if (photos && !read.dry.context.same_kind(read.finished.context))
            std::cout << "What both photos err by alike cancels only where one camera, card and light took both, and the files and --taken-under say so.\n";
        std::cout << "Judge the wrap in daylight. Read it only when the coat has cured: uncured resin and hardener can sensitise skin and burn.\n";
    }
};

}  // namespace

void add_coat_check(CLI::App& coat, int& exit_code) {
    auto command = std::make_shared<CheckCommand>();
    CLI::App* check = coat.add_subcommand("check", "A test wrap before and after coating: did the coat do what was expected? Or new wrap beside old: does it show?");
    command->wrap.add_to(*check);
    command->beside.add_to(*check);
    add_shop_option(*check, command->shop);
    check->add_option("--tolerance", command->tolerance, "CIEDE2000 that is no matter: from the expected look, or of new from old")
        ->check(CLI::Range(0.1, 20.0))
        ->capture_default_str();
    check->add_option("--picture", command->picture, "Draw it: FILE.png or FILE.svg");
    check->add_flag("--json", command->json, "For machines");
    check->footer("Example: bindhue coat check --before dry.jpg --after cured.jpg --card my-card.json --taken-under door --spool R1-12 --schedule finish\n"
                  "         bindhue coat check --beside door.jpg --beside bench.jpg --taken-under door,tube --card my-card.json --old-band 3 --new-band 6");
    check->callback([command, &exit_code] { exit_code = command->run(); });
}

}  // namespace bindhue::capture::cli

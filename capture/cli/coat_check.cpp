#include <iostream>
#include <memory>

#include "cli/coat.hpp"
#include "cli/rack.hpp"
#include "reading/test_wrap.hpp"
#include "sheet/coat_picture.hpp"
#include "sheet/swatch.hpp"

namespace bindhue::capture::cli {
namespace {

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
            print_json(capture::to_json(*read, *check));
        else
            print(*read, *check);
        return done;
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
        std::cout << shifts.text() << '\n' << verdict_in_words(read, check) << '\n' << expectation_in_words(check) << '\n';
        print_notes(read.warnings);
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

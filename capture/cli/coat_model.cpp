#include <algorithm>
#include <iostream>
#include <memory>

#include "cli/coat.hpp"
#include "cli/rack.hpp"
#include "colour/coat_held_out.hpp"
#include "sheet/coat_picture.hpp"
#include "sheet/swatch.hpp"
#include "shop/coat_tests.hpp"

namespace bindhue::capture::cli {
namespace {

using nlohmann::ordered_json;

struct Parameter {
    const char* field;
    const char* words;
    double CoatingParameters::*member;
};
constexpr std::array<Parameter, 5> parameters{{{"scattering", "scattering of the dry layer", &CoatingParameters::scattering},
                                               {"scattering_ratio", "scattering left under the coat", &CoatingParameters::scattering_ratio},
                                               {"absorption_ratio", "absorption left under the coat", &CoatingParameters::absorption_ratio},
                                               {"contact", "share in touch with the coat", &CoatingParameters::contact},
                                               {"haze", "haze over air", &CoatingParameters::haze}}};

struct ModelCommand {
    std::string shop, picture;
    bool json = false;

    int run() const {
        const auto where = shop_folder(shop);
        if (!where) return fail(where.error());
        const Result<CoatTestFile> file = load_coat_tests(*where);
        if (!file) return fail(file.error());
        const std::vector<CoatTest> tests = file->tests();
        const CoatModel model(tests);
        const std::vector<HeldOut> proof = held_out(tests);
        if (!picture.empty()) {
            if (tests.empty())
                return fail({Reason::too_few, "there is no coat test to draw", where->string(), "keep some with bindhue coat add"});
            if (const Status drawn = write_coat_model_picture(tests, model.outliers(), picture); !drawn) return fail(drawn.error());
        }
        if (json)
            print_json(document(*file, model, proof));
        else
            print(*file, model, proof);
        return done;
    }

    static const HeldOut* of(const std::vector<HeldOut>& proof, const CoatLesson& lesson) {
        const auto found = std::find_if(proof.begin(), proof.end(), [&](const HeldOut& h) {
            return h.material == lesson.material && h.schedule == lesson.schedule;
        });
        return found == proof.end() ? nullptr : &*found;
    }

    static ordered_json errors(const HeldOutErrors& e) { return {{"median", e.median}, {"p95", e.p95}}; }

    static ordered_json document(const CoatTestFile& file, const CoatModel& model, const std::vector<HeldOut>& proof) {
        ordered_json learned = ordered_json::array(), outliers = ordered_json::array();
        for (const CoatLesson& l : model.lessons()) {
            ordered_json values;
            for (std::size_t k = 0; k < parameters.size(); ++k)
                values[parameters[k].field] = {{"prior", l.prior.*parameters[k].member},
                                               {"learned", l.learned.*parameters[k].member},
                                               {"moved_by", l.moved_by[k]},
                                               {"spread", l.spread[k]}};
            ordered_json row{{"material", name(l.material)}, {"schedule", name(l.schedule)}, {"product", l.product}, {"tests", l.tests},
                             {"parameters", std::move(values)}, {"scatter", l.scatter}};
            if (const HeldOut* h = of(proof, l))
                row["held_out"] = {{"learned", errors(h->learned)}, {"prior", errors(h->prior)}, {"mean_shift", errors(h->mean_shift)},
                                   {"inside", h->inside}, {"prior_inside", h->prior_inside}};
            else
                row["held_out"] = nullptr;
            learned.push_back(std::move(row));
        }
        for (const std::size_t i : model.outliers()) {
            const CoatTestEntry& e = file.entries[i];
            outliers.push_back({{"test", i + 1}, {"material", name(e.test.material)}, {"schedule", name(e.test.schedule)},
                                {"dry_lab", to_json(e.test.dry)}, {"finished_lab", to_json(e.test.finished)}, {"source", e.source}, {"date", e.date}});
        }
        return {{"format", "bindhue-coat-model"}, {"version", 1}, {"tests", file.entries.size()}, {"learned", std::move(learned)},
                {"outliers", std::move(outliers)}};
    }

    static void print(const CoatTestFile& file, const CoatModel& model, const std::vector<HeldOut>& proof) {
        if (file.entries.empty()) {
            std::cout << "This shop has no coat test: every finished look is reckoned from optics alone. Keep some with bindhue coat add: 3 help, 20 "
                         "settle it.\n";
            return;
        }
        std::cout << file.entries.size() << (file.entries.size() == 1 ? " coat test\n" : " coat tests\n");
        for (const CoatLesson& l : model.lessons()) {
            std::cout << '\n' << name(l.material) << ", " << name(l.schedule) << (l.product.empty() ? "" : ", " + harmless(l.product)) << ": " << l.tests << (l.tests == 1 ? " test" : " tests") << "\n\n";
            Table values({"", "from optics", "learned", "moved by", "unsure by"});
            for (std::size_t k = 0; k < parameters.size(); ++k)
                values.add({parameters[k].words, number("%.2f", l.prior.*parameters[k].member), number("%.2f", l.learned.*parameters[k].member),
                            number("%+.1f sd", l.moved_by[k]), number("%.1f sd", l.spread[k])});
            std::cout << values.text() << '\n';
            if (const HeldOut* h = of(proof, l)) {
                const auto row = [](const HeldOutErrors& e, const std::string& inside) {
                    return std::vector<std::string>{number("%.1f", e.median), number("%.1f", e.p95), inside};
                };
                Table errors({"each test, predicted by", "median", "95 % below", "inside its region"});
                for (const auto& [words, cells] : {std::pair{"the others", row(h->learned, number("%.0f %%", 100 * h->inside))},
                                                   std::pair{"optics alone", row(h->prior, number("%.0f %%", 100 * h->prior_inside))},
                                                   std::pair{"the others' mean shift", row(h->mean_shift, "-")}})
                    errors.add({words, cells[0], cells[1], cells[2]});
                std::cout << errors.text();
                if (h->learned.median > h->prior.median)
                    std::cout << "  Optics alone did no worse: these tests have not helped yet.\n";
            } else {
                std::cout << "  One test cannot be predicted by others; a second one shows how good this is.\n";
            }
        }
        std::cout << "\nErrors are CIEDE2000. sd: the spread that optics alone leaves; unsure by 1.0 sd means that the tests say nothing of it.\n";
        print_outliers(file, model);
    }
};

}  // namespace

void add_coat_model(CLI::App& coat, int& exit_code) {
    auto command = std::make_shared<ModelCommand>();
    CLI::App* model = coat.add_subcommand("model", "What the shop's coat tests have taught, and how well they predict each other");
    add_shop_option(*model, command->shop);
    model->add_option("--picture", command->picture, "Draw the shifts from dry to finished: FILE.png or FILE.svg");
    model->add_flag("--json", command->json, "For machines");
    model->footer("Example: bindhue coat model --picture coats.png");
    model->callback([command, &exit_code] { exit_code = command->run(); });
}

}  // namespace bindhue::capture::cli

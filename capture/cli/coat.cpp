#include <filesystem>
#include <iostream>
#include <memory>

#include "cli/coat.hpp"
#include "cli/rack.hpp"
#include "colour/coat_learning.hpp"
#include "shop/atomic_file.hpp"
#include "sheet/swatch.hpp"
#include "shop/coat_tests.hpp"
#include "shop/colour_json.hpp"
#include "shop/json_text.hpp"

namespace bindhue::capture::cli {
namespace {

using nlohmann::ordered_json;

struct CoatCommand {
    std::string shop, table;
    TestWrapArguments wrap;
    bool json = false, wet_preview = false;

    Result<std::vector<CoatTestEntry>> given() const {
        if (!table.empty()) {
            const Result<std::string> text = read_file(table);
            if (!text) return text.error();
            return read_coat_table(*text, table);
        }
        const Result<TestWrap> read = wrap.read(shop);
        if (!read) return read.error();
        const Result<CoatTest> test = coat_test_of(*read);
        if (!test) return test.error();
        print_notes(read->warnings);
        return std::vector<CoatTestEntry>{{*test, wrap.source(), today(), {}}};
    }

    std::optional<std::string> misuse() const {
        if (table.empty()) return wrap.misuse();
        if (wrap.before.empty() && wrap.after.empty()) return std::nullopt;
        return "give a table or a test wrap, not both";
    }

    int add() const {
        if (wet_preview)
            return fail({Reason::bad_value, "a preview with water is no coat test: it dries away", "--wet-preview",
                         "read the wrap again when the finish has cured, and add that"});
        if (const std::optional<std::string> wrong = misuse()) {
            std::cerr << "bindhue: " << *wrong << "\n  what to do: see bindhue coat add --help\n";
            return wrong_usage;
        }
        const Result<std::vector<CoatTestEntry>> more = given();
        if (!more) return fail(more.error());
        const Result<Shop> opened = open_shop(shop, Access::change);
        if (!opened) return fail(opened.error());
        Result<CoatTestFile> file = load_coat_tests(opened->folder());
        if (!file) return fail(file.error());
        file->entries.insert(file->entries.end(), more->begin(), more->end());
        if (const Status saved = save_coat_tests(opened->folder(), *file); !saved) return fail(saved.error());
        std::cout << more->size() << (more->size() == 1 ? " coat test added" : " coat tests added") << "; the shop has " << file->entries.size() << "\n";
        const CoatModel model(file->tests());
        print_outliers(*file, model);
        return done;
    }

    // One JSON object a line in, one a line out, in the same order.
    int predict() const {
        const Result<std::filesystem::path> where = shop_folder(shop);
        if (!where) return fail(where.error());
        const Result<CoatTestFile> file = load_coat_tests(*where);
        if (!file) return fail(file.error());
        const CoatModel model(file->tests());
        if (file->entries.empty())
            std::cerr << "note: no coat test of this shop is known: every prediction is a prior from optics\n";
        std::string line;
        for (std::size_t number = 1; std::getline(std::cin, line); ++number) {
            if (line.find_first_not_of(" \t\r") == std::string::npos) continue;
            const Result<ordered_json> answer = predicted(model, line, "line " + std::to_string(number));
            if (!answer) return fail(answer.error());
            std::cout << answer->dump() << '\n';
        }
        return done;
    }

  private:
    static Result<ordered_json> predicted(const CoatModel& taught, const std::string& line, const std::string& where) {
        Result<JsonDocument> document = JsonDocument::parse(line, where);
        if (!document) return document.error();
        const JsonCursor at = document->root();
        const Material material = at["material"].word(parse_material);
        const Schedule schedule = at["schedule"].word(parse_schedule);
        const double size = at["size_mm"].number(min_thread_mm, max_thread_mm);
        const Reading dry{lab_at(at["dry_lab"]), {}, {}}, ground{lab_at(at["ground_lab"]), {}, {}};
        std::optional<LayerOpacity> opacity;
        if (const auto known = at.find("opacity")) opacity = LayerOpacity{(*known)["scattering"].number(0.01, 100), (*known)["log_sd"].number(0.01, 3)};
        FinishUse use{at.text_or_empty("product"), Build::unsaid, 0};
        if (const auto build = at.find("build")) use.build = build->word(parse_build);
        if (const auto coats = at.find("coats")) use.coats = coats->integer(1, max_coats);
        if (document->error()) return *document->error();
        const CoatModel model = use == FinishUse{} ? taught : taught.with(use);
        Result<Reading> finished = model.predict(material, schedule, size, dry, ground, opacity);
        if (!finished) {
            Error error = finished.error();
            error.where = where + (error.where.empty() ? "" : ", " + error.where);
            return error;
        }
        const Vector3 before = dry.lab.vector(), after = finished->lab.vector();
        return ordered_json{{"lab", capture::to_json(finished->lab)},
                            {"covariance", capture::to_json(finished->covariance)},
                            {"shift", {after[0] - before[0], after[1] - before[1], after[2] - before[2]}},
                            {"tests", model.tests(material, schedule)}};
    }
};

}  // namespace

void print_outliers(const CoatTestFile& file, const CoatModel& model) {
    for (const std::size_t i : model.outliers()) {
        const CoatTestEntry& e = file.entries[i];
        std::cout << "note: test " << i + 1 << " (" << name(e.test.material) << ", " << name(e.test.schedule) << ", dry " << in_words(e.test.dry)
                  << (e.source.empty() ? "" : ", " + harmless(e.source))
                  << ") is contradicted by the others: a blotchy coat, or the wrong spool? It counts for little.\n";
    }
}

void add_coat(CLI::App& app, int& exit_code) {
    auto command = std::make_shared<CoatCommand>();
    CLI::App* coat = app.add_subcommand("coat", "Coat tests: threads read dry and finished, and what they teach");
    coat->require_subcommand(1);
    CLI::App* add = coat->add_subcommand("add", "Keep coat tests: a test wrap read before and after coating, or a table; from a table with anything wrong in it nothing is taken");
    add->add_option("--table", command->table,
                    "Columns material,size_mm,schedule,ground_L,ground_a,ground_b,dry_L,dry_a,dry_b,finished_L,finished_a,finished_b, of which dry is as on the spool, "
                    "and perhaps product,build,coats");
    command->wrap.add_to(*add);
    add->add_flag("--wet-preview", command->wet_preview, "The wrap after is only wet with water: this is refused, for it teaches nothing about finish");
    add_shop_option(*add, command->shop);
    add->footer("Example: bindhue coat add --before dry.jpg --after cured.jpg --card my-card.json --spool R1-12 --schedule finish\n"
                "         bindhue coat add --table tests.csv");
    add->callback([command, &exit_code] { exit_code = command->add(); });
    CLI::App* predict = coat->add_subcommand("predict", "Finished looks, by the shop's coat tests or, without any, by the prior");
    predict->add_flag("--json", command->json,
                      "JSON lines: reads {material, size_mm, schedule, dry_lab, ground_lab} and perhaps opacity {scattering, log_sd}, product, build, coats, writes {lab, covariance, shift, tests}")
        ->required();
    add_shop_option(*predict, command->shop);
    predict->footer(
        "Example: echo '{\"material\":\"nylon\",\"size_mm\":0.15,\"schedule\":\"finish\",\"dry_lab\":[45,50,30],\"ground_lab\":[18,0,0]}' "
        "| bindhue coat predict --json");
    predict->callback([command, &exit_code] { exit_code = command->predict(); });
    add_coat_check(*coat, exit_code);
    add_coat_opacity(*coat, exit_code);
    add_coat_model(*coat, exit_code);
}

}  // namespace bindhue::capture::cli

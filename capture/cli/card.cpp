#include <cstdio>
#include <iostream>

#include "cli/card.hpp"
#include "cli/command.hpp"
#include "colour/camera_fit.hpp"
#include "sheet/card_sheet.hpp"
#include "sheet/swatch.hpp"
#include "shop/atomic_file.hpp"
#include "shop/camera_light_file.hpp"
#include "shop/card_cgats.hpp"
#include "shop/card_layout.hpp"
#include "shop/patch_table.hpp"

namespace bindhue::capture::cli {
namespace {

struct FitCommand {
    std::string table;
    bool linear = false, json = false;

    int run() const {
        const Result<std::string> text = read_file(table);
        if (!text) return fail(text.error());
        const Result<std::vector<PatchSample>> patches = read_patch_table(*text, table, linear);
        if (!patches) return fail(patches.error());
        FitOptions options;
        options.linear = linear;
        options.trust = Trust::measured;
        options.prior = &built_in_camera_light();
        const Result<CameraFit> fit = fit_camera(*patches, options);
        if (!fit) return fail(fit.error());
        if (json) {
            print_json(document(*fit));
        } else {
            print(*fit);
        }
        return done;
    }

    static nlohmann::ordered_json document(const CameraFit& fit) {
        nlohmann::ordered_json patches = nlohmann::ordered_json::array();
        for (const PatchResult& p : fit.patches)
            patches.push_back({{"id", p.id},
                               {"predicted_lab", to_json(p.predicted)},
                               {"delta_e", p.delta_e},
                               {"used", p.used},
                               {"dropped", p.dropped}});
        return {{"format", "bindhue-card-fit"},
                {"version", 1},
                {"colour_model", name(fit.model)},
                {"held_out_error", {{"median", fit.held_out_median}, {"p95", fit.held_out_p95}}},
                {"patches", std::move(patches)}};
    }

    static void print(const CameraFit& fit) {
        Table out({"patch", "", "L*", "a*", "b*", "read L*", "a*", "b*", "CIEDE2000", ""});
        const bool colour = terminal_has_colour();
        for (const PatchResult& p : fit.patches)
            out.add({p.id, swatch(p.reference, colour), number("%.1f", p.reference.L),
                     number("%.1f", p.reference.a), number("%.1f", p.reference.b),
                     number("%.1f", p.predicted.L), number("%.1f", p.predicted.a),
                     number("%.1f", p.predicted.b), number("%.1f", p.delta_e), p.dropped});
        std::cout << out.text() << '\n';
        std::printf(
            "colour model: %s\nheld-out error (each patch by a fit without it): CIEDE2000 %.2f median, %.2f "
            "at the 95th percentile\n",
            std::string(name(fit.model)).c_str(), fit.held_out_median, fit.held_out_p95);
    }
};

struct PrintCommand {
    std::string layout, output, paper = "a4", list;
    std::optional<double> stick;

    int run() const {
        const Paper sheet = paper == "letter" ? Paper::letter : Paper::a4;
        if (stick) {
            const std::string path = output.empty() ? "stick.pdf" : output;
            if (const Status written = write_stick_sheet(*stick, path, sheet); !written) return fail(written.error());
            return told(path);
        }
        const Result<CardLayout> card = card_from(layout);
        if (!card) return fail(card.error());
        const std::string path = output.empty() ? "card.pdf" : output;
        const Status written = write_card_sheet(*card, path, sheet);
        if (!written) return fail(written.error());
        if (!list.empty()) {
            const Result<std::string> text = write_patch_list(*card);
            if (!text) return fail(text.error());
            if (const Status saved = save_file(list, *text, Previous::forgotten); !saved) return fail(saved.error());
        }
        return told(path);
    }

    static int told(const std::string& path) {
        std::cout << path << " written. Print it at 100 %, without scaling, and measure its 100 mm line.\n";
        return done;
    }
};

}  // namespace

void add_card(CLI::App& app, int& exit_code) {
    CLI::App* card = app.add_subcommand("card", "The calibration card: print it, give a print values of its own, fit a table of patches");
    card->require_subcommand(1);

    auto print = std::make_shared<PrintCommand>();
    CLI::App* print_command = card->add_subcommand("print", "Write the card true to size, to print at home");
    print_command->add_option("--card", print->layout, "Layout file (default: our bench card)");
    print_command->add_option("--output", print->output, "File to write: .pdf or .svg by its ending (card.pdf, stick.pdf)");
    print_command->add_option("--paper", print->paper, "Paper of the page")
        ->check(CLI::IsMember({"a4", "letter"}))
        ->capture_default_str();
    print_command->add_option("--list", print->list, "Also write the list of patches to measure, as CGATS text, for an instrument's program");
    print_command
        ->add_option("--stick", print->stick,
                     "Not the card but the sleeve of a two-tone test stick, black and white, for a dowel of this diameter in millimetres (see bindhue coat opacity)")
        ->excludes("--card", "--list");
    print_command->footer("Example: bindhue card print --output card.pdf\n         bindhue card print --stick 8 --output stick.pdf");
    print_command->callback([print, &exit_code] { exit_code = print->run(); });

    add_card_assign(*card, exit_code);

    auto fit = std::make_shared<FitCommand>();
    CLI::App* fit_command =
        card->add_subcommand("fit", "Fit a table of patch means of any chart, and print held-out errors");
    fit_command
        ->add_option(
            "table", fit->table,
            "CSV with columns id,R,G,B,L,a,b and optional x_mm,y_mm,clipped,role; R, G, B encoded 0 to 1")
        ->required();
    fit_command->add_flag("--linear", fit->linear, "R, G, B are linear camera values");
    fit_command->add_flag("--json", fit->json, "For machines");
    fit_command->footer("Example: bindhue card fit patches.csv --linear");
    fit_command->callback([fit, &exit_code] { exit_code = fit->run(); });
}

}  // namespace bindhue::capture::cli

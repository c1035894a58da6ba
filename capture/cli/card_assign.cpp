#include <cstdio>
#include <filesystem>
#include <iostream>

#include "cli/card.hpp"
#include "cli/command.hpp"
#include "sheet/swatch.hpp"
#include "shop/atomic_file.hpp"
#include "shop/card_cgats.hpp"
#include "shop/card_layout.hpp"
#include "shop/card_values.hpp"
#include "shop/cgats.hpp"

namespace bindhue::capture::cli {
namespace {

struct AssignCommand {
    std::string layout, from, out, name, id_field = "SAMPLE_ID", map;
    bool replace = false, json = false;

    int run() const {
        CardLayout before = bench_card();
        if (!layout.empty()) {
            Result<CardLayout> loaded = load_card_layout(layout);
            if (!loaded) return fail(loaded.error());
            before = std::move(*loaded);
        }
        std::vector<std::string> notes;
        const Result<CardValues> values = from_measurements(before, notes);
        if (!values) return fail(values.error());
        const Result<CardLayout> after = with_values(before, *values, name);
        if (!after) return fail(after.error());
        const std::string path = out_path(values->trust);
        std::error_code unseen;
        if (!replace && std::filesystem::exists(path, unseen)) {
            fail({Reason::bad_value, "This file is there already.", path, "Give another name with --out, or say --replace: the version before is then kept beside it."});
            return wrong_usage;
        }
        const Result<std::string> text = write_card_layout(*after);
        if (!text) return fail(text.error());
        const std::vector<PatchChange> moved = changes(before, *after);
        if (median_change(moved) > suspicious_change)
            notes.push_back(formatted("the values are a median %.0f CIEDE2000 from the layout's: is this the file of this card, and are its patches in the right order?",
                                      median_change(moved)));
        if (const Status saved = save_file(path, *text); !saved) return fail(saved.error());
        if (json) {
            print_json(document(*after, path, moved, notes));
        } else {
            print(*after, path, moved, notes);
        }
        return done;
    }

  private:
    Result<CardValues> from_measurements(const CardLayout& card, std::vector<std::string>& notes) const {
        const Result<std::string> text = read_file(from);
        if (!text) return text.error();
        if (!looks_like_cgats(*text))
            return Error{Reason::bad_format, "This is no CGATS text (ISO 28178).", from, "Export the measurements as CGATS from the instrument's program."};
        SampleNames names{id_field, {}};
        if (!map.empty()) {
            const Result<std::string> table = read_file(map);
            if (!table) return table.error();
            auto named = read_sample_names(*table, map, card);
            if (!named) return named.error();
            names.of_patch = std::move(*named);
        }
        return read_card_cgats(*text, from, card, names, today(), notes);
    }

    // Beside the layout it was made from; of the built-in card, here.
    std::string out_path(Trust trust) const {
        if (!out.empty()) return out;
        const std::filesystem::path design = layout.empty() ? "card.json" : layout;
        return (design.parent_path() / (design.stem().string() + "-" + std::string(bindhue::capture::name(trust)) + ".json")).string();
    }

    static nlohmann::ordered_json document(const CardLayout& card, const std::string& path, const std::vector<PatchChange>& moved, const std::vector<std::string>& notes) {
        nlohmann::ordered_json patches = nlohmann::ordered_json::array();
        for (const PatchChange& change : moved)
            patches.push_back({{"id", change.id}, {"from_lab", to_json(change.before)}, {"lab", to_json(change.after)}, {"delta_e", change.delta_e}});
        return {{"format", "bindhue-card-assign"},
                {"version", 1},
                {"layout", path},
                {"name", card.name},
                {"trust", bindhue::capture::name(card.trust)},
                {"moved", {{"median", median_change(moved)}, {"max", moved.empty() ? 0.0 : moved.front().delta_e}}},
                {"patches", std::move(patches)},
                {"notes", notes}};
    }

    static void print(const CardLayout& card, const std::string& path, const std::vector<PatchChange>& moved, const std::vector<std::string>& notes) {
        constexpr std::size_t shown = 8;
        Table out({"patch", "", "was L*", "a*", "b*", "", "is L*", "a*", "b*", "CIEDE2000"});
        const bool colour = terminal_has_colour();
        for (std::size_t i = 0; i < std::min(shown, moved.size()); ++i) {
            const PatchChange& c = moved[i];
            out.add({c.id, swatch(c.before, colour), number("%.1f", c.before.L), number("%.1f", c.before.a), number("%.1f", c.before.b), swatch(c.after, colour),
                     number("%.1f", c.after.L), number("%.1f", c.after.a), number("%.1f", c.after.b), number("%.1f", c.delta_e)});
        }
        std::printf("Patches that moved most, of %zu; median CIEDE2000 %.1f\n\n", moved.size(), median_change(moved));
        std::cout << out.text() << '\n';
        for (const std::string& note : notes) std::cout << "note: " << harmless(note) << '\n';
        std::cout << path << " written: \"" << harmless(card.name) << "\", values " << bindhue::capture::name(card.trust)
                  << ". Use it with --card, for this print alone.\n";
    }
};

}  // namespace

void add_card_assign(CLI::App& card, int& exit_code) {
    auto command = std::make_shared<AssignCommand>();
    CLI::App* assign = card.add_subcommand("assign", "Give a print of the card values of its own, as an instrument measured them");
    assign->add_option("layout", command->layout, "Layout file of the card (default: our bench card)");
    assign->add_option("--from", command->from, "Measurements as CGATS text (ISO 28178): spectra, Lab or XYZ for D50 and 2 degree")->required();
    assign->add_option("--id", command->id_field, "Field that names the patch")->capture_default_str();
    assign->add_option("--map", command->map, "CSV with the columns patch,sample, where samples are not named as the patches are");
    assign->add_option("--name", command->name, "Name of this print (default: the card's, with trust and date)");
    assign->add_option("--out", command->out, "Layout file to write (default: LAYOUT-measured.json beside it)");
    assign->add_flag("--replace", command->replace, "Replace the file if it is there; the version before is kept as FILE.previous");
    assign->add_flag("--json", command->json, "For machines");
    assign->footer("Example: bindhue card assign --from measured.txt --out my-card.json\n"
                   "What to measure: bindhue card print --output card.pdf --list patches.txt");
    assign->callback([command, &exit_code] { exit_code = command->run(); });
}

}  // namespace bindhue::capture::cli

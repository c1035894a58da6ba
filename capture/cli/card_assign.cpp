#include <cstdio>
#include <filesystem>
#include <iostream>

#include "cli/card.hpp"
#include "cli/command.hpp"
#include "colour/brightener.hpp"
#include "reading/assign_card.hpp"
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
    std::string target, target_at, corners, target_corners;  // of a photo
    bool linear = false, replace = false, json = false;

    int run() const {
        const Result<CardLayout> before = card_from(layout);
        if (!before) return fail(before.error());
        std::vector<std::string> notes;
        std::optional<Assigned> photo;
        Result<CardValues> values = CardValues();
        if (target.empty()) {
            values = from_measurements(*before, notes);
        } else {
            Result<Assigned> assigned = from_photo(*before);
            if (!assigned) return fail(assigned.error());
            values = assigned->values;
            notes = assigned->warnings;
            photo = std::move(*assigned);
        }
        if (!values) return fail(values.error());
        const Result<CardLayout> after = with_values(*before, *values, name);
        if (!after) return fail(after.error());
        const std::string path = out_path(values->trust);
        if (!may_write(path, replace)) return wrong_usage;
        const Result<std::string> text = write_card_layout(*after);
        if (!text) return fail(text.error());
        const std::vector<PatchChange> moved = changes(*before, *after);
        if (median_change(moved) > suspicious_change)
            notes.push_back(formatted("the values are a median %.0f CIEDE2000 from the layout's: is this the file of this card, and are its patches in the right order?",
                                      median_change(moved)));
        if (const auto white = glowing_white(greys_of(*after)))
            notes.push_back("the paper holds optical brightener (its white is at b* " + number("%.0f", white->b) +
                            "): these values hold only in light with as much ultraviolet as they were measured in, and readings by them say so with wider regions. "
                            "Print on paper without brightener, and measure that print");
        if (const Status saved = save_file(path, *text); !saved) return fail(saved.error());
        if (json) {
            print_json(document(*after, path, moved, notes, photo));
        } else {
            print(*after, path, moved, notes, photo);
        }
        return done;
    }

  private:
    static std::vector<Lab<D50>> greys_of(const CardLayout& card) {
        std::vector<Lab<D50>> out;
        for (const CardPatch& p : card.patches)
            if (p.role == PatchRole::grey) out.push_back(p.lab);
        return out;
    }

    Result<CardValues> from_measurements(const CardLayout& card, std::vector<std::string>& notes) const {
        const Result<std::string> text = read_file(from);
        if (!text) return text.error();
        if (!looks_like_cgats(*text))
            return Error{Reason::bad_format, "This is no CGATS text (ISO 28178).", from,
                         "Export the measurements as CGATS from the instrument's program; of a photo, say with --target which measured card lies beside."};
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

    Result<Assigned> from_photo(const CardLayout& card) const {
        Result<CardLayout> measured = load_card_layout(target);
        if (!measured) return measured.error();
        AssignOptions options{card, std::move(*measured), linear, {}, {}, {}, today()};
        for (const auto& [text, option, to] : {std::tuple{&corners, "--corners", &options.card_corners}, {&target_corners, "--target-corners", &options.target_corners}}) {
            const auto pointed_at = corners_from(*text, option);
            if (!pointed_at) return pointed_at.error();
            *to = *pointed_at;
        }
        if (!target_at.empty())
            options.target_side = target_at == "left" ? TargetSide::left : target_at == "right" ? TargetSide::right : target_at == "above" ? TargetSide::above : TargetSide::below;
        return assign_card(from, options);
    }

    // Beside the layout it was made from; of the built-in card, here.
    std::string out_path(Trust trust) const {
        if (!out.empty()) return out;
        const std::filesystem::path design = layout.empty() ? "card.json" : layout;
        return (design.parent_path() / (design.stem().string() + "-" + std::string(bindhue::capture::name(trust)) + ".json")).string();
    }

    static nlohmann::ordered_json document(const CardLayout& card, const std::string& path, const std::vector<PatchChange>& moved, const std::vector<std::string>& notes,
                                            const std::optional<Assigned>& photo) {
        nlohmann::ordered_json patches = nlohmann::ordered_json::array();
        for (const PatchChange& change : moved)
            patches.push_back({{"id", change.id}, {"from_lab", to_json(change.before)}, {"lab", to_json(change.after)}, {"delta_e", change.delta_e}});
        nlohmann::ordered_json out{{"format", "bindhue-card-assign"},
                                   {"version", 1},
                                   {"layout", path},
                                   {"name", card.name},
                                   {"trust", bindhue::capture::name(card.trust)},
                                   {"moved", {{"median", median_change(moved)}, {"max", moved.empty() ? 0.0 : moved.front().delta_e}}},
                                   {"patches", std::move(patches)},
                                   {"notes", notes}};
        if (photo) {
            out["target_error"] = {{"median", photo->target_error_median}, {"max", photo->target_error_max}, {"patches", photo->target_checks}};
            out["light_ratio"] = photo->light_ratio;
            out["light_error"] = photo->light_error;
        }
        return out;
    }

    static void print(const CardLayout& card, const std::string& path, const std::vector<PatchChange>& moved, const std::vector<std::string>& notes,
                      const std::optional<Assigned>& photo) {
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
        if (photo) {
            std::printf("the target's %zu patches that no fit saw: CIEDE2000 %.1f median, %.1f at worst\n", photo->target_checks, photo->target_error_median, photo->target_error_max);
            std::printf("light on the card: %.0f %% of that on the target, +-%.1f %%\n", 100 * photo->light_ratio, 196 * photo->light_error);
        }
        print_notes(notes);
        std::cout << path << " written: \"" << harmless(card.name) << "\", values " << bindhue::capture::name(card.trust)
                  << ". Use it with --card, for this print alone.\n";
    }
};

}  // namespace

void add_card_assign(CLI::App& card, int& exit_code) {
    auto command = std::make_shared<AssignCommand>();
    CLI::App* assign = card.add_subcommand("assign", "Give a print of the card values of its own: as an instrument measured them, or as a photo shows them beside a measured card");
    assign->add_option("layout", command->layout, "Layout file of the card (default: our bench card)");
    assign->add_option("--from", command->from, "Measurements as CGATS text (ISO 28178): spectra, Lab or XYZ for D50 and 2 degree; or, with --target, a photo")->required();
    assign->add_option("--id", command->id_field, "Field that names the patch")->capture_default_str();
    assign->add_option("--map", command->map, "CSV with the columns patch,sample, where samples are not named as the patches are");
    assign->add_option("--target", command->target, "Layout file of the measured card that lies beside this one in the photo")->excludes("--map");
    assign->add_option("--target-at", command->target_at, "Half of the picture in which the target lies whole: needed if its markers are the card's, as of two prints of one design")
        ->check(CLI::IsMember({"left", "right", "above", "below"}));
    assign->add_option("--corners", command->corners, "The card's corners in the photo, x,y four times: upper left, upper right, lower right, lower left as the card is read");
    assign->add_option("--target-corners", command->target_corners, "The target's corners, likewise");
    assign->add_flag("--linear", command->linear, "The photo holds linear camera RGB (16 bits, no tone curve)");
    for (const char* option : {"--target-at", "--corners", "--target-corners", "--linear"}) assign->get_option(option)->needs("--target");
    assign->add_option("--name", command->name, "Name of this print (default: the card's, with trust and date)");
    assign->add_option("--out", command->out, "Layout file to write (default: LAYOUT-measured.json, or -assigned.json, beside it)");
    assign->add_flag("--replace", command->replace, "Replace the file if it is there; the version before is kept as FILE.previous");
    assign->add_flag("--json", command->json, "For machines");
    assign->footer("Example: bindhue card assign --from measured.txt --out my-card.json\n"
                   "         bindhue card assign --from beside.dng --target their-card.json --out my-card.json\n"
                   "What to measure: bindhue card print --output card.pdf --list patches.txt");
    assign->callback([command, &exit_code] { exit_code = command->run(); });
}

}  // namespace bindhue::capture::cli

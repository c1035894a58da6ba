#include <algorithm>
#include <cmath>
#include <filesystem>
#include <memory>
#include <optional>

#include "cli/change_rack.hpp"
#include "cli/spool.hpp"
#include "sheet/swatch.hpp"
#include "shop/atomic_file.hpp"
#include "shop/cgats.hpp"
#include "shop/json_text.hpp"
#include "shop/shop_check.hpp"
#include "shop/spool_cgats.hpp"
#include "shop/spool_table.hpp"

namespace bindhue::capture::cli {
namespace {

namespace fs = std::filesystem;
using nlohmann::ordered_json;

enum class FileKind { table, cgats, json };

// What a file of this name is to be.
FileKind kind_by_name(const fs::path& path) {
    const std::string ending = path.extension().string();
    return ending == ".json" ? FileKind::json : ending == ".cgats" || ending == ".it8" ? FileKind::cgats : FileKind::table;
}

// What the text is, whatever its file is called.
FileKind kind_of(std::string_view text, const fs::path& path) {
    if (looks_like_cgats(text)) return FileKind::cgats;
    return looks_like_json(text) || kind_by_name(path) == FileKind::json ? FileKind::json : FileKind::table;
}

ordered_json to_json(const SpoolEntry& entry, const Reading& reading) {
    ordered_json out{{"code", entry.spool.code}, {"name", entry.spool.name}, {"material", name(entry.spool.material)},
                     {"size", entry.spool.size}, {"size_mm", entry.spool.size_mm}, {"lot", entry.spool.lot}};
    if (entry.metres_left) out["metres_left"] = *entry.metres_left;
    if (entry.spool.opacity) out["opacity"] = {{"scattering", entry.spool.opacity->scattering}, {"log_sd", entry.spool.opacity->log_sd}};
    out["lab"] = capture::to_json(reading.lab);
    out["covariance"] = capture::to_json(reading.covariance);
    out["readings"] = entry.spool.readings.size();
    return out;
}

struct SpoolCommand {
    std::string shop, file, code, material, format;
    std::optional<double> size_mm, sd;
    bool json = false;

    int list() const {
        Result<SpoolFile> rack = spools_of(shop);
        if (!rack) return fail(rack.error());
        if (!code.empty()) {
            const SpoolEntry* found = rack->find(code);
            if (found == nullptr)
                return fail({Reason::not_found, "No spool has the code \"" + code + "\".", "", "See bindhue spool list."});
            rack->entries = {SpoolEntry(*found)};
        }
        if (json) {
            ordered_json spools = ordered_json::array();
            for (const SpoolEntry& e : rack->entries) spools.push_back(to_json(e, e.spool.reading_for({})));
            print_json({{"format", "bindhue-spool-list"}, {"version", 1}, {"spools", std::move(spools)}});
            return done;
        }
        Table table({"spool", "name", "material", "size", "mm", "lot", "L*", "a*", "b*", "95 % +-", "readings", "S X", "left m"});
        for (const SpoolEntry& e : rack->entries) {
            const Reading best = e.spool.reading_for({});
            table.add({e.spool.code, e.spool.name, std::string(name(e.spool.material)), e.spool.size,
                       number("%.2f", e.spool.size_mm), e.spool.lot, number("%.1f", best.lab.L), number("%.1f", best.lab.a),
                       number("%.1f", best.lab.b), number("%.1f", 1.96 * std::sqrt(best.covariance(0, 0))),
                       std::to_string(e.spool.readings.size()), e.spool.opacity ? number("%.1f", e.spool.opacity->scattering) : "-", e.metres_left ? number("%.0f", *e.metres_left) : "-"});
        }
        std::cout << table.text();
        return done;
    }

    int import() const {
        const Result<std::string> text = read_file(file);
        if (!text) return fail(text.error());
        SpoolDefaults defaults{std::nullopt, size_mm, sd};
        if (!material.empty()) {
            const Result<Material> known = material_of(material);
            if (!known) return fail(known.error());
            defaults.material = *known;
        }
        SpoolFile given;
        const FileKind kind = kind_of(*text, file);
        if (kind == FileKind::json) {
            Result<SpoolFile> read = read_spool_file(*text, file);
            if (!read) return fail(read.error());
            given = std::move(*read);
        } else {
            Result<SpoolTable> read =
                kind == FileKind::cgats ? read_spool_cgats(*text, file, defaults) : read_spool_table(*text, file, defaults);
            if (!read) return fail(read.error());
            for (const std::string& warning : read->warnings) std::cerr << "note: " << warning << '\n';
            given.entries = std::move(read->entries);
        }
        return change_rack(shop, [&](SpoolFile& rack) -> Result<std::string> {
            const Result<Merged> merged = merge(rack, given, file);
            if (!merged) return merged.error();
            return std::to_string(merged->new_spools) + " new spools, " + std::to_string(merged->new_readings) +
                   " new readings; " + std::to_string(merged->known) + " readings were there already";
        });
    }

    int write() const {
        const Result<Shop> opened = open_shop(shop, Access::read);
        if (!opened) return fail(opened.error());
        const Result<SpoolFile> rack = opened->spools();
        if (!rack) return fail(rack.error());
        if (is_own_file(*opened, file))
            return fail({Reason::bad_value, "This file is the shop's own.", file, "Name a file outside the shop's folder."});
        const FileKind kind = format.empty() ? kind_by_name(file) : kind_by_name("rack." + format);
        const Result<std::string> text = kind == FileKind::json    ? write_spool_file(*rack)
                                         : kind == FileKind::cgats ? write_spool_cgats(*rack)
                                                                   : Result<std::string>(write_spool_table(*rack));
        if (!text) return fail(text.error());
        if (const Status saved = save_file(file, *text, Previous::forgotten); !saved) return fail(saved.error());
        std::cout << rack->entries.size() << " spools written to " << file << '\n';
        return done;
    }

    int remove() const {
        return change_rack(shop, [&](SpoolFile& rack) -> Result<std::string> {
            const auto before = rack.entries.size();
            std::erase_if(rack.entries, [&](const SpoolEntry& e) { return e.spool.code == code; });
            if (rack.entries.size() == before)
                return Error{Reason::not_found, "No spool has the code \"" + code + "\".", "", "See bindhue spool list."};
            return "spool " + code + " removed";
        });
    }
};

}  // namespace

void add_spool(CLI::App& app, int& exit_code) {
    auto command = std::make_shared<SpoolCommand>();
    CLI::App* spool = app.add_subcommand("spool", "The spools of the rack: what is there, in and out");
    spool->require_subcommand(1);
    const auto add = [&](const char* name, const char* help, const char* example, int (SpoolCommand::*what)() const) {
        CLI::App* sub = spool->add_subcommand(name, help);
        add_shop_option(*sub, command->shop);
        sub->footer(std::string("Example: ") + example);
        sub->callback([command, what, &exit_code] { exit_code = (command.get()->*what)(); });
        return sub;
    };
    add("list", "Every spool with its best reading", "bindhue spool list", &SpoolCommand::list)
        ->add_flag("--json", command->json, "For machines");
    CLI::App* show = add("show", "One spool", "bindhue spool show R1-12", &SpoolCommand::list);
    show->add_option("code", command->code, "The spool's code")->required();
    show->add_flag("--json", command->json, "For machines");
    CLI::App* import = add("import", "Spools from a table, a CGATS file or another rack; from a file with anything wrong in it nothing is taken",
                           "bindhue spool import measured.cgats --material nylon --size-mm 0.15", &SpoolCommand::import);
    import->add_option("file", command->file, "A table, CGATS (ISO 28178) or JSON as a shop keeps it: known by what is in it; see palettes/README.md")
        ->required();
    import->add_option("--material", command->material, "Of what the threads are, where a table or CGATS file does not say");
    import->add_option("--size-mm", command->size_mm, "How thick the threads are, where it does not say")
        ->check(CLI::Range(min_thread_mm, max_thread_mm));
    import->add_option("--sd", command->sd, "One standard deviation in each of L*, a* and b*, where it does not say (else 2)")
        ->check(CLI::Range(0.0, 100.0));
    CLI::App* write = add("export", "The rack as a table for a spreadsheet, or by its ending as .cgats or .json", "bindhue spool export rack.csv", &SpoolCommand::write);
    write->add_option("file", command->file, "Where to; .json keeps fields that the others do not know")->required();
    write->add_option("--format", command->format, "Whatever the ending is")->check(CLI::IsMember({"csv", "cgats", "json"}));
    add("remove", "Take a spool out of the rack", "bindhue spool remove R1-12", &SpoolCommand::remove)
        ->add_option("code", command->code, "The spool's code")
        ->required();
    add_spool_enrol(*spool, exit_code);
    add_spool_by_hand(*spool, exit_code);
}

}  // namespace bindhue::capture::cli

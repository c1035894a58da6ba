#include <algorithm>
#include <cstdio>
#include <iostream>
#include <map>

#include "cli/command.hpp"
#include "cli/rack.hpp"
#include "colour/quantities.hpp"
#include "sheet/swatch.hpp"
#include "shop/atomic_file.hpp"
#include "shop/band_table.hpp"

namespace bindhue::capture::cli {
namespace {

struct TakesCommand {
    std::string table, shop;
    double film_mm = usual_film_mm;
    int coats = 2;
    bool one_guide = false, json = false;

    struct Thread {
        double metres = 0;           // with ends and waste
        std::optional<double> left;  // on the spool, if the shop's file says
    };

    int run() const {
        const Result<std::string> text = read_file(table);
        if (!text) return fail(text.error());
        const Result<std::vector<WantedBand>> bands = read_band_table(*text, table);
        if (!bands) return fail(bands.error());
        const double waste = one_guide ? one_guide_waste : whole_rod_waste;
        std::map<std::string, Thread> threads;
        double film = 0;
        for (const WantedBand& band : *bands) {
            threads[band.spool].metres += (1 + waste) * metres(band);
            film += band.count * film_ml(band.winding, film_mm);
        }
        if (const Status status = find_stock(threads); !status) return fail(status.error());
        if (json)
            print_json(document(*bands, threads, film));
        else
            print(*bands, threads, film, waste);
        return done;
    }

    static double metres(const WantedBand& band) {
        return band.count * (wound_metres(band.winding) + end_metres(band.winding));
    }

    // Only a job that names spools needs a shop.
    Status find_stock(std::map<std::string, Thread>& threads) const {
        if (std::all_of(threads.begin(), threads.end(), [](const auto& t) { return t.first.empty(); })) return ok();
        const Result<SpoolFile> file = spools_of(shop);
        if (!file) return file.error();
        std::map<std::string_view, const SpoolEntry*> rack;
        for (const SpoolEntry& entry : file->entries) rack.emplace(entry.spool.code, &entry);
        for (auto& [code, thread] : threads) {
            if (code.empty()) continue;
            const auto found = rack.find(code);
            if (found == rack.end())
                return Error{Reason::not_found, "no spool has the code \"" + code + "\"", table,
                             "see the codes in the shop's spools.json"};
            thread.left = found->second->metres_left;
        }
        return ok();
    }

    nlohmann::ordered_json document(const std::vector<WantedBand>& bands, const std::map<std::string, Thread>& threads,
                                    double film) const {
        nlohmann::ordered_json rows = nlohmann::ordered_json::array(), spools = rows;
        for (const WantedBand& band : bands)
            rows.push_back({{"spool", band.spool},
                            {"width_mm", band.winding.width_mm},
                            {"count", band.count},
                            {"turns", turns(band.winding)},
                            {"wound_m", wound_metres(band.winding)},
                            {"ends_m", end_metres(band.winding)}});
        for (const auto& [code, thread] : threads) {
            nlohmann::ordered_json row{{"spool", code}, {"needed_m", thread.metres}, {"left_m", nullptr}};
            if (thread.left) {
                row["left_m"] = *thread.left;
                row["runs_out"] = thread.metres > *thread.left;
            }
            spools.push_back(std::move(row));
        }
        return {{"format", "bindhue-takes"},
                {"version", 1},
                {"bands", std::move(rows)},
                {"spools", std::move(spools)},
                {"finish", {{"coats", coats}, {"film_ml", film}, {"batch_ml", batch_ml(film)}}}};
    }

    void print(const std::vector<WantedBand>& bands, const std::map<std::string, Thread>& threads, double film,
               double waste) const {
        Table wraps({"spool", "wraps", "width mm", "blank mm", "layers", "turns each", "wound m each", "ends m each"});
        for (const WantedBand& band : bands)
            wraps.add({band.spool.empty() ? "-" : band.spool, std::to_string(band.count),
                       number("%.1f", band.winding.width_mm), number("%.1f", band.winding.diameter_mm),
                       std::to_string(band.winding.layers), number("%.0f", turns(band.winding)),
                       number("%.2f", wound_metres(band.winding)), number("%.1f", end_metres(band.winding))});
        std::cout << wraps.text() << '\n';
        Table total({"spool", "thread m", "left m", ""});
        for (const auto& [code, thread] : threads)
            total.add({code.empty() ? "-" : code, number("%.1f", thread.metres),
                       thread.left ? number("%.1f", *thread.left) : "not known",
                       thread.left && thread.metres > *thread.left
                           ? "runs out: " + number("%.1f", thread.metres - *thread.left) + " m short"
                           : ""});
        std::cout << total.text();
        std::printf("thread: with the ends, and %.0f %% for redone and test wraps (common practice)\n\n", 100 * waste);
        const double batch = batch_ml(film);
        std::printf(
            "finish: the film takes %.1f ml a coat at %.2f mm; mix %.0f ml for each coat, %.1f ml of each part if the\n"
            "maker's sheet says equal parts (4 ml is the least that measures well: common practice); %d coats, %.0f ml\n",
            film, film_mm, batch, batch / 2, coats, coats * batch);
        std::fflush(stdout);
        std::cout << "Uncured resin and hardener can sensitise skin for life and burn: gloves, eye protection, fresh air, no "
                     "solvent on skin,\nno flame near solvent. The maker's data sheet and local rules come first.\n";
    }
};

}  // namespace

void add_job(CLI::App& app, int& exit_code) {
    auto command = std::make_shared<TakesCommand>();
    CLI::App* job = app.add_subcommand("job", "What a job needs");
    job->require_subcommand(1);
    CLI::App* takes = job->add_subcommand("takes", "Thread and finish that a list of wraps takes, and which spool runs out");
    takes->add_option("bands", command->table,
                      "Table of wraps: width_mm, diameter_mm, pitch_mm, and perhaps thread_mm, underwrap_mm, layers, count, spool")
        ->required();
    add_shop_option(*takes, command->shop);
    takes->add_option("--film", command->film_mm, "Thickness of one coat in mm")
        ->check(CLI::Range(0.01, 2.0))
        ->capture_default_str();
    takes->add_option("--coats", command->coats, "Coats of finish")->check(CLI::Range(1, 10))->capture_default_str();
    takes->add_flag("--one-guide", command->one_guide, "Allow more for waste, as for a single guide");
    takes->add_flag("--json", command->json, "For machines");
    takes->footer("Example: bindhue job takes wraps.csv --coats 2");
    takes->callback([command, &exit_code] { exit_code = command->run(); });
}

}  // namespace bindhue::capture::cli

#include <algorithm>
#include <cctype>
#include <cstdio>
#include <filesystem>
#include <iostream>
#include <map>
#include <memory>

#include "cli/command.hpp"
#include "cli/rack.hpp"
#include "colour/job.hpp"
#include "sheet/customer_note.hpp"
#include "sheet/swatch.hpp"
#include "shop/atomic_file.hpp"
#include "shop/band_table.hpp"
#include "shop/job_file.hpp"

namespace bindhue::capture::cli {
namespace {

using nlohmann::ordered_json;
namespace fs = std::filesystem;

constexpr const char* state_words[] = {"open", "cut off while its thread was taken: run job done again", "done"};

struct JobCommand {
    std::string shop, table, name, note, output, paper;
    Job job;
    PhotoArguments photo;
    std::vector<std::string> photos;
    bool json = false, for_customer = false;

    int takes() const {
        Result<Job> wanted = job_of_table();
        if (!wanted) return fail(wanted.error());
        const Result<SpoolFile> rack = rack_for(*wanted, table);
        if (!rack) return fail(rack.error());
        if (json)
            print_json(document(*wanted, *rack));
        else
            print(*wanted, *rack);
        return done;
    }

    int make() const {
        JobFile file;
        Result<Job> wanted = job_of_table();
        if (!wanted) return fail(wanted.error());
        if (const Result<SpoolFile> rack = rack_for(*wanted, table); !rack) return fail(rack.error());
        file.name = name;
        file.date = today();
        file.note = note;
        file.job = std::move(*wanted);
        std::vector<PhotoCopy> copies;
        std::string reading;
        if (!photos.empty()) {
            const Result<WrapReading> read = photo.read(photos);
            if (!read) return fail(read.error());
            reading = to_json(*read).dump(1) + "\n";
            print_notes(read->warnings);
        }
        for (const std::string& path : photos) {
            Result<std::string> bytes = read_file(path);
            if (!bytes) return fail(bytes.error());
            copies.push_back({"photo-" + std::to_string(copies.size() + 1) + ending(path), std::move(*bytes)});
            file.photos.push_back(copies.back().name);
        }
        const Result<Shop> opened = open_shop(shop, Access::change);
        if (!opened) return fail(opened.error());
        if (const Status made = create_job(*opened, file, copies, reading); !made) return fail(made.error());
        std::cout << "job " << name << " kept in " << job_folder(*opened, name).string() << '\n';
        return done;
    }

    int show() const {
        const Result<Shop> opened = open_shop(shop, Access::read);
        if (!opened) return fail(opened.error());
        return name.empty() ? list(*opened) : show_one(*opened);
    }

    int write_sheet() const {
        const Result<Shop> opened = open_shop(shop, Access::read);
        if (!opened) return fail(opened.error());
        const fs::path path = output.empty() ? fs::path(name + (for_customer ? "-note.pdf" : ".pdf")) : fs::path(output);
        const auto paper_of = [&](const JobSheet& sheet) { return paper.empty() ? sheet.settings.paper : *parse_paper(paper); };
        Status written = ok();
        if (for_customer) {
            const Result<CustomerNote> home = load_customer_note(*opened, name);
            written = home ? write_customer_note(*home, path, paper_of(home->sheet)) : Status(home.error());
        } else {
            const Result<JobSheet> sheet = load_job_sheet(*opened, name);
            written = sheet ? write_job_sheet(*sheet, path, paper_of(*sheet)) : Status(sheet.error());
        }
        if (!written) return fail(written.error());
        if (json)
            print_json({{"format", "bindhue-job-sheet"}, {"version", 1}, {"file", path.string()}});
        else
            std::cout << (for_customer ? "customer's note: " : "job sheet: ") << path.string() << '\n';
        return done;
    }

    int finish() const {
        const Result<Shop> opened = open_shop(shop, Access::change);
        if (!opened) return fail(opened.error());
        const Result<JobFile> file = finish_job(*opened, name);
        if (!file) return fail(file.error());
        std::cout << "job " << name << " is done\n";
        for (const TakenThread& t : file->taken)
            std::printf("spool %s: %.1f m were left, now %.1f m\n", harmless(t.spool).c_str(), t.before_m, t.after_m);
        return done;
    }

  private:
    Result<Job> job_of_table() const {
        const Result<std::string> text = read_file(table);
        if (!text) return text.error();
        Result<std::vector<WantedBand>> bands = read_band_table(*text, table);
        if (!bands) return bands.error();
        Job out = job;
        out.bands = std::move(*bands);
        return out;
    }

    // ".jpg" of a path; empty if it has none that a file may be given.
    static std::string ending(const fs::path& path) {
        std::string out = path.extension().string();
        const bool plain = out.size() > 1 && out.size() <= 8 &&
                           std::all_of(out.begin() + 1, out.end(), [](unsigned char c) { return std::isalnum(c) != 0; });
        return plain ? out : "";
    }

    Result<SpoolFile> rack_for(const Job& wanted, const std::string& where) const {
        return capture::rack_for(wanted, [&] { return spools_of(shop); }, where);
    }

    static std::optional<double> left_on(const SpoolFile& rack, const std::string& code) {
        const SpoolEntry* spool = rack.find(code);
        return spool == nullptr ? std::nullopt : spool->metres_left;
    }

    static ordered_json document(const Job& job, const SpoolFile& rack) {
        const Takes takes = bindhue::takes(job);
        ordered_json rows = ordered_json::array(), spools = rows;
        for (const WantedBand& band : job.bands) {
            ordered_json row{{"spool", band.spool}, {"schedule", nullptr}, {"width_mm", band.winding.width_mm}, {"count", band.count},
                             {"turns", turns(band.winding)}, {"wound_m", wound_metres(band.winding)},
                             {"ends_m", end_metres(band.winding)}};
            if (band.schedule) row["schedule"] = bindhue::name(*band.schedule);
            if (!band.ground.empty()) row["ground"] = band.ground;
            rows.push_back(std::move(row));
        }
        for (const auto& [code, metres] : takes.metres) {
            ordered_json row{{"spool", code}, {"needed_m", metres}, {"left_m", nullptr}};
            if (const auto there = left_on(rack, code)) {
                row["left_m"] = *there;
                row["runs_out"] = metres > *there;
            }
            spools.push_back(std::move(row));
        }
        return {{"format", "bindhue-takes"},
                {"version", 1},
                {"bands", std::move(rows)},
                {"spools", std::move(spools)},
                {"finish", {{"coats", job.coats}, {"film_ml", takes.film_ml}, {"batch_ml", batch_ml(takes.film_ml)}}}};
    }

    static void print(const Job& job, const SpoolFile& rack) {
        Table wraps({"spool", "schedule", "wraps", "width mm", "blank mm", "layers", "over", "turns each", "wound m each", "ends m each"});
        for (const WantedBand& band : job.bands)
            wraps.add({band.spool.empty() ? "-" : band.spool, band.schedule ? std::string(bindhue::name(*band.schedule)) : "-",
                       std::to_string(band.count), number("%.1f", band.winding.width_mm), number("%.1f", band.winding.diameter_mm),
                       std::to_string(band.winding.layers), band.ground.empty() ? (band.winding.underwrap_mm > 0 ? "an underwrap" : "-") : band.ground, number("%.0f", turns(band.winding)),
                       number("%.2f", wound_metres(band.winding)), number("%.1f", end_metres(band.winding))});
        std::cout << wraps.text() << '\n';
        const Takes takes = bindhue::takes(job);
        Table total({"spool", "thread m", "left m", ""});
        for (const auto& [code, metres] : takes.metres) {
            const auto there = left_on(rack, code);
            total.add({code.empty() ? "-" : code, number("%.1f", metres), there ? number("%.1f", *there) : "not known",
                       there && metres > *there ? "runs out: " + number("%.1f", metres - *there) + " m short" : ""});
        }
        std::cout << total.text();
        std::printf("thread: with the ends, and %.0f %% for redone and test wraps (common practice)\n\n", 100 * waste(job));
        const double batch = batch_ml(takes.film_ml);
        std::printf(
            "finish: the film takes %.1f ml a coat at %.2f mm; mix %.0f ml for each coat, %.1f ml of each part if the\n"
            "maker's sheet says equal parts (4 ml is the least that measures well: common practice); %d coats, %.0f ml\n",
            takes.film_ml, job.film_mm, batch, batch / 2, job.coats, job.coats * batch);
        std::fflush(stdout);
        std::cout << "Uncured resin and hardener can sensitise skin for life and burn: gloves, eye protection, fresh air, no "
                     "solvent on skin,\nno flame near solvent. The maker's data sheet and local rules come first.\n";
    }

    int list(const Shop& opened) const {
        const Result<std::vector<JobFile>> jobs = load_jobs(opened);
        if (!jobs) return fail(jobs.error());
        if (json) {
            ordered_json rows = ordered_json::array();
            for (const JobFile& file : *jobs)
                rows.push_back({{"name", file.name}, {"date", file.date}, {"done", file.state == JobState::done}, {"note", file.note}});
            print_json({{"format", "bindhue-job-list"}, {"version", 1}, {"jobs", std::move(rows)}});
            return done;
        }
        if (jobs->empty()) std::cout << "No job is kept yet. bindhue job new makes one.\n";
        Table rows({"job", "date", "wraps", "thread m", "photos", "state", "note"});
        for (const JobFile& file : *jobs) {
            int wraps = 0;
            double metres = 0;
            for (const WantedBand& band : file.job.bands) wraps += band.count;
            for (const auto& [code, m] : bindhue::takes(file.job).metres) metres += m;
            rows.add({file.name, file.date, std::to_string(wraps), number("%.1f", metres), std::to_string(file.photos.size()),
                       state_words[static_cast<int>(file.state)], file.note});
        }
        if (!jobs->empty()) std::cout << rows.text();
        return done;
    }

    int show_one(const Shop& opened) const {
        const Result<JobFile> file = load_job(opened, name);
        if (!file) return fail(file.error());
        const Result<SpoolFile> rack = rack_for(file->job, "job " + name);
        if (!rack) return fail(rack.error());
        if (json) {
            ordered_json out = document(file->job, *rack);
            out["format"] = "bindhue-job-show";
            out["name"] = file->name;
            out["date"] = file->date;
            out["note"] = file->note;
            out["done"] = file->state == JobState::done;
            out["photos"] = file->photos;
            print_json(out);
            return done;
        }
        std::cout << "job " << name << ", " << harmless(file->date) << ", " << state_words[static_cast<int>(file->state)] << '\n';
        if (!file->note.empty()) std::cout << harmless(file->note) << '\n';
        for (const std::string& path : file->photos) std::cout << harmless((job_folder(opened, name) / path).string()) << '\n';
        std::cout << '\n';
        print(file->job, *rack);
        return done;
    }
};

}  // namespace

void add_job(CLI::App& app, int& exit_code) {
    auto command = std::make_shared<JobCommand>();
    CLI::App* job = app.add_subcommand("job", "The jobs on the bench: what they take, and what is left on the spools");
    job->require_subcommand(1);
    const auto add = [&](const char* name, const char* help, const char* example, int (JobCommand::*what)() const) {
        CLI::App* sub = job->add_subcommand(name, help);
        add_shop_option(*sub, command->shop);
        sub->footer(std::string("Example: ") + example);
        sub->callback([command, what, &exit_code] { exit_code = (command.get()->*what)(); });
        return sub;
    };
    const auto add_wraps = [&](CLI::App& sub, const char* bands) {
        sub.add_option(bands, command->table,
                       "Table of wraps: width_mm, diameter_mm, pitch_mm, and perhaps thread_mm, underwrap_mm, layers, count, spool, "
                       "schedule, ground (blank, white, dark, underwrap:CODE or L,a,b)")
            ->required();
        sub.add_option("--film", command->job.film_mm, "Thickness of one coat in mm")
            ->check(CLI::Range(0.01, 2.0))
            ->capture_default_str();
        sub.add_option("--coats", command->job.coats, "Coats of finish")->check(CLI::Range(1, 10))->capture_default_str();
        sub.add_flag("--one-guide", command->job.one_guide, "Allow more for waste, as for a single guide");
    };
    CLI::App* takes = add("takes", "Thread and finish that a list of wraps takes, and which spool runs out",
                          "bindhue job takes wraps.csv --coats 2", &JobCommand::takes);
    add_wraps(*takes, "bands");
    takes->add_flag("--json", command->json, "For machines");

    CLI::App* make = add("new", "Keep a job: its wraps, its photos and what is read on them",
                         "bindhue job new trout-4 --bands wraps.csv --photo door.jpg --card my-card.json", &JobCommand::make);
    make->add_option("name", command->name, "The job's name: letters, digits, - and _")->required();
    add_wraps(*make, "--bands");
    make->add_option("--photo", command->photos, "A photo of the old wrap with the card; may be repeated")->allow_extra_args(false);
    command->photo.add_to(*make);
    make->add_option("--note", command->note, "What else there is to know");

    CLI::App* show = add("show", "The jobs, or what one takes and how far it is", "bindhue job show trout-4", &JobCommand::show);
    show->add_option("name", command->name, "The job's name (default: a list of all)");
    show->add_flag("--json", command->json, "For machines");

    CLI::App* sheet = add("sheet", "The sheet to pin over the lathe: wraps, thread, finish, order of work",
                          "bindhue job sheet trout-4 --output trout-4.pdf\n         bindhue job sheet trout-4 --note --output trout-4-note.html", &JobCommand::write_sheet);
    sheet->add_option("name", command->name, "The job's name")->required();
    sheet->add_option("--output", command->output, "Where to, .pdf or .html (default: NAME.pdf or NAME-note.pdf in this folder)");
    sheet->add_flag("--note", command->for_customer, "The customer's note instead: each wrap's old look beside the new one, and a quote where the shop has set prices");
    sheet->add_option("--paper", command->paper, "a4 or letter (default: the shop's)")->check(CLI::IsMember({"a4", "letter"}));
    sheet->add_flag("--json", command->json, "For machines");

    add("done", "Take a job's thread off the spools whose length is known, once", "bindhue job done trout-4", &JobCommand::finish)
        ->add_option("name", command->name, "The job's name")
        ->required();
}

}  // namespace bindhue::capture::cli

#include <algorithm>
#include <iostream>
#include <memory>

#include "cli/change_rack.hpp"
#include "cli/spool.hpp"
#include "reading/enrolment.hpp"
#include "sheet/swatch.hpp"
#include "shop/enrol.hpp"

namespace bindhue::capture::cli {
namespace {

namespace fs = std::filesystem;

constexpr const char* skip = "-";

struct EnrolCommand {
    PhotoArguments photo;
    ParticularsArguments particulars;
    std::vector<std::string> paths, codes;
    std::string shop, date;
    bool changed = false, json = false;

    int run() const {
        const Result<WrapReading> reading = photo.read(paths);
        if (!reading) return fail(reading.error());
        const Result<std::vector<std::size_t>> bands = bands_for_codes(*reading);
        if (!bands) return fail(bands.error());
        const Result<SpoolParticulars> said = particulars.parsed();
        if (!said) return fail(said.error());

        std::vector<BandOfSpool> of;
        for (std::size_t i = 0; i < codes.size(); ++i)
            if (codes[i] != skip) of.push_back({(*bands)[i], codes[i]});
        const std::vector<ToEnrol> readings = to_enrol(*reading, of, "photo " + file_names(), date.empty() ? today() : date);
        return change_rack(
            shop,
            [&](SpoolFile& rack) -> Result<std::string> {
                const Result<Enrolment> done = enrol(rack, readings, *said, changed);
                if (!done) return done.error();
                if (json)
                    print_json(capture::to_json(*reading, of, *done));
                else
                    print(*reading, of, *done);
                if (!done->kept) return drift_refusal(of, *done, "add --changed");
                const auto fresh = std::count_if(done->spools.begin(), done->spools.end(), [](const Enrolled& one) { return !one.known; });
                return std::to_string(fresh) + (fresh == 1 ? " reading" : " readings") + " kept";
            },
            json);
    }

  private:
    std::string file_names() const {
        std::string out;
        for (const std::string& path : paths) out.append(out.empty() ? "" : ", ").append(fs::path(path).filename().string());
        return out;
    }

    // Codes are for the bands of thread; where there are as many as bands of all, bare stick too, for those. The stick between two threads,
    // which lies in their shadow and their light, may not be known for bare: where there are too many bands the longest are taken, if they are
    // clearly longer than the rest.
    Result<std::vector<std::size_t>> bands_for_codes(const WrapReading& reading) const {
        constexpr double clearly = 1.5;
        const std::vector<BandReading>& bands = reading.bands;
        std::vector<std::size_t> all, thread;
        for (std::size_t i = 0; i < bands.size(); ++i) {
            all.push_back(i);
            if (bands[i].role != BandRole::blank || !photo.region.empty()) thread.push_back(i);
        }
        if (codes.size() == thread.size()) return thread;
        if (codes.size() == all.size()) return all;
        if (codes.size() < thread.size()) {
            std::vector<std::size_t> longest = thread;
            std::sort(longest.begin(), longest.end(), [&](std::size_t x, std::size_t y) { return bands[x].length_mm > bands[y].length_mm; });
            if (bands[longest[codes.size() - 1]].length_mm > clearly * bands[longest[codes.size()]].length_mm) {
                longest.resize(codes.size());
                std::sort(longest.begin(), longest.end());
                return longest;
            }
        }
        std::string seen;
        for (const std::size_t i : thread)
            seen.append(seen.empty() ? ": " : "; ").append(place(bands[i]));
        return Error{Reason::bad_value,
                     "there are " + std::to_string(codes.size()) + (codes.size() == 1 ? " code, and " : " codes, and ") +
                         std::to_string(thread.size()) + " bands of thread in the photo" + seen,
                     reading.photo, "give a code for each, from left to right as the card is read, - for one to pass over: --code A-1,-,A-3"};
    }

    static std::string place(const BandReading& band) {
        return number("%.1f", band.start_mm) + " to " + number("%.1f mm", band.start_mm + band.length_mm);
    }

    static void print(const WrapReading& reading, const std::vector<BandOfSpool>& of, const Enrolment& enrolment) {
        Table table({"spool", "", "band", "at", "L*", "a*", "b*", "95 % +-", "CIEDE2000", "95 %", "from the last reading"});
        bool unlike = false;
        for (std::size_t i = 0; i < of.size(); ++i) {
            const Enrolled& one = enrolment.spools[i];
            const BandReading& band = reading.bands[of[i].band];
            const Reading& colour = band.colour;
            std::vector<std::string> row{of[i].code,
                                         swatch(colour.lab, terminal_has_colour()),
                                         std::to_string(of[i].band + 1),
                                         place(band),
                                         number("%.1f", colour.lab.L),
                                         number("%.1f", colour.lab.a),
                                         number("%.1f", colour.lab.b),
                                         spread_in_words(colour.covariance)};
            if (one.known) {
                row.insert(row.end(), {"", "", "this very reading was there already"});
            } else if (one.drift) {
                const Drift& drift = *one.drift;
                unlike = unlike || !drift.same_kind;
                row.insert(row.end(), {number("%.1f", drift.delta_e),
                                       number("%.1f", drift.interval_low) + " to " + number("%.1f", drift.interval_high),
                                       (drift.beyond_chance ? "drift: " + drift.leans : std::string("no drift")) +
                                           (one.since.empty() ? "" : ", since " + one.since)});
            } else {
                row.insert(row.end(), {"-", "-", "new spool"});
            }
            table.add(row);
        }
        std::cout << table.text();
        std::vector<std::size_t> enrolled;
        for (const BandOfSpool& one : of) enrolled.push_back(one.band);
        print_notes(reading.warnings_on(enrolled));
        if (unlike)
            std::cout << "note: compared with a reading by another camera, card or light, or one that is not known (--camera, --taken-under): "
                         "only large drifts are seen\n";
    }
};

}  // namespace

void add_spool_enrol(CLI::App& spool, int& exit_code) {
    auto command = std::make_shared<EnrolCommand>();
    CLI::App* enrol = spool.add_subcommand(
        "enrol", "Read dry thread, on its spool or wound close on a test stick in the card's opening, and keep the reading with its spool");
    enrol->add_option("photo", command->paths, "Photo with the card round the thread; several of one arrangement make one reading")->required();
    enrol
        ->add_option("--code", command->codes,
                     "The spool's code; with several bands one for each, from left to right as the card is read, - for one to pass over")
        ->required()
        ->delimiter(',')
        ->allow_extra_args(false);
    add_shop_option(*enrol, command->shop);
    command->particulars.add_to(*enrol, "of spools that are new to the rack");
    enrol->add_option("--date", command->date, "Of the photo, as 2026-11-01 (default: today)");
    enrol->add_flag("--changed", command->changed,
                    "The thread itself has changed (faded, soiled): readings that it has drifted from are set aside as past ones");
    command->photo.add_to(*enrol);
    enrol->add_flag("--json", command->json, "For machines");
    enrol->footer(
        "Example: bindhue spool enrol spools.jpg --card my-card.json --taken-under door --code R1-12,-,R7-06\n"
        "         bindhue spool enrol new.jpg --card my-card.json --taken-under door --code N-7 --name Heather --material nylon --size A "
        "--size-mm 0.15\n"
        "Several spools in one photo lie in a row along the opening, dry. Where a spool has drifted beyond chance nothing is kept.");
    enrol->callback([command, &exit_code] { exit_code = command->run(); });
}

}  // namespace bindhue::capture::cli

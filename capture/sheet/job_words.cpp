#include "sheet/job_words.hpp"

#include <algorithm>

#include "colour/job.hpp"
#include "sheet/number.hpp"

namespace bindhue::capture {
namespace {

bool is_finished(const WantedBand& band) { return band.schedule != Schedule::none; }
// What is wound beneath; empty where nothing is.
std::string underwrap_words(const WantedBand& band) {
    if (band.winding.underwrap_mm == 0) return "";
    if (const std::string spool = underwrap_spool(band); !spool.empty()) return "an underwrap of " + spool;
    return band.ground == "white" ? "a white underwrap" : "an underwrap";
}
bool is_preserved(const WantedBand& band) { return band.schedule == Schedule::preserver_finish; }

}  // namespace

std::vector<std::string> wrap_heads(const Settings& settings) {
    const Measures measures(settings.units);
    return {"no.", "spool", "thread", "schedule", std::string("width ") + measures.unit(),
            std::string("blank ") + measures.unit(), "turns", "layers", "count", std::string(measures.thread_unit()) + " each"};
}

std::vector<SheetRow> wrap_rows(const JobSheet& sheet) {
    const Measures measures(sheet.settings.units);
    std::vector<SheetRow> out;
    for (const WantedBand& band : sheet.file.job.bands) {
        const SpoolEntry* known = sheet.rack.find(band.spool);
        WantedBand one = band;
        one.count = 1;
        out.push_back({{std::to_string(out.size() + 1), band.spool.empty() ? "________" : band.spool,
                        known == nullptr ? measures.thickness(band.winding.thread_mm)
                                         : known->spool.name + ", " + std::string(name(known->spool.material)) +
                                               (known->spool.size.empty() ? "" : ", size " + known->spool.size),
                        band.schedule ? std::string(name(*band.schedule)) : "________", measures.length(band.winding.width_mm),
                        measures.length(band.winding.diameter_mm), number("%.0f", turns(band.winding)),
                        std::to_string(band.winding.layers) + (band.winding.underwrap_mm > 0 ? " over " + underwrap_words(band) : ""),
                        std::to_string(band.count), measures.thread(thread_metres(one))}});
    }
    return out;
}

std::string matched_as_new_line(const JobSheet& sheet) {
    const std::vector<WantedBand>& bands = sheet.file.job.bands;
    std::string which;
    int count = 0;
    for (std::size_t i = 0; i < bands.size(); ++i)
        if (bands[i].old_finish) {
            which += (which.empty() ? "" : ", ") + std::to_string(i + 1);
            ++count;
        }
    if (which.empty()) return "";
    return in_words_of(sheet.settings, (count == 1 ? "{Wrap} " : "{Wraps} ") + which + " matched to the old one as it was before its finish went amber: beside old {wraps} that stay it will look unlike them.");
}

std::vector<std::string> thread_lines(const JobSheet& sheet) {
    const Measures measures(sheet.settings.units);
    std::vector<std::string> out;
    for (const auto& [code, metres] : takes(sheet.file.job).metres) {
        std::string line = (code.empty() ? "spools not chosen yet" : code) + ": " + measures.thread_said(metres);
        if (const SpoolEntry* known = sheet.rack.find(code); known != nullptr && known->metres_left) {
            const double left = *known->metres_left;
            line += metres > left ? ", only " + measures.thread_said(left) + " left: " + measures.thread_said(metres - left) + " short"
                                  : ", " + measures.thread_said(left) + " left on the spool";
        }
        out.push_back(line);
    }
    return out;
}

std::string thread_note(const JobSheet& sheet) {
    return "With the ends, and " + number("%.0f %%", 100 * waste(sheet.file.job)) + in_words_of(sheet.settings, " for redone and test {wraps} (common practice).") +
           (std::any_of(sheet.file.job.bands.begin(), sheet.file.job.bands.end(), [](const WantedBand& b) { return b.winding.underwrap_mm > 0 && underwrap_spool(b).empty(); })
                ? " Thread of underwraps whose spool is not said is not in it."
                : "");
}

std::string finish_line(const JobSheet& sheet) {
    const Job& job = sheet.file.job;
    if (std::none_of(job.bands.begin(), job.bands.end(), is_finished)) return "";
    const double film = takes(job).film_ml, batch = batch_ml(film);
    return "The film takes " + number("%.1f ml a coat", film) + " at " + Measures(sheet.settings.units).thickness(job.film_mm) + "." + " Mix " + number("%.0f ml", batch) +
           " for each coat, " + number("%.1f ml of each part", batch / 2) +
           " if the maker's sheet says equal parts (4 ml is the least that measures well: common practice). " +
           std::to_string(job.coats) + (job.coats == 1 ? " coat, " : " coats, ") + number("%.0f ml in all.", job.coats * batch);
}

std::vector<WorkStep> order_of_work(const Job& job, const Settings& settings) {
    std::vector<WorkStep> out;
    const auto any = [&](auto what) { return std::any_of(job.bands.begin(), job.bands.end(), what); };
    const bool finished = any(is_finished), preserved = any(is_preserved);
    const auto wait = [](const std::optional<double>& own_h, const char* usual) {
        return own_h ? number("%g h, as this shop does; ", *own_h) + "____ h by the maker's sheet" : std::string("____ h by the maker's sheet; usual ") + usual;
    };
    out.push_back({"Write down places, widths and trims of the old {wraps}, and photograph them with the card.", ""});
    out.push_back({"Make a test {wrap} on scrap of the same blank, coat it as the job, and judge it in daylight (see below).",
                   "until it has cured"});
    out.push_back({"Strip the old {wraps}: cut along the top of the {guide} foot, never towards blank or hand. Keep the cut thread. Clean, and "
                   "let the blank dry.",
                   ""});
    std::string underwraps;
    for (std::size_t i = 0; i < job.bands.size(); ++i)
        if (const std::string said = underwrap_words(job.bands[i]); !said.empty())
            underwraps.append(underwraps.empty() ? "" : "; ").append("{wrap} ").append(std::to_string(i + 1)).append(": ").append(said);
    if (!underwraps.empty()) out.push_back({"Wind the underwraps (" + underwraps + ").", ""});
    int all = 0;
    for (const WantedBand& band : job.bands) all += band.count;
    out.push_back({"Wind " + std::to_string(all) + (all == 1 ? " {wrap}." : " {wraps}.") + " Straighten the {guides}, close gaps, burnish.", ""});
    if (preserved)
        out.push_back({"Preserver on the {wraps} marked preserver+finish, until it has soaked through evenly, into the tunnel beside the foot "
                       "too.",
                       wait(settings.preserver_h, "4 to 24 h")});
    if (finished)
        for (int coat = 1; coat <= job.coats; ++coat)
            out.push_back({"Finish, coat " + std::to_string(coat) + " of " + std::to_string(job.coats) +
                               ": mix a fresh batch, coat, turn until it does not run.",
                           coat < job.coats ? wait(settings.next_coat_h, "12 to 24 h until the next coat")
                                          : wait(settings.last_coat_h, "24 h until it is set, days until it is hard")});
    out.push_back({"Check old beside new in daylight and under the tube: colour, gaps, fuzz, alignment.", ""});
    out.push_back({"Take the thread off the spools (bindhue job done), and give the rod back with a note of thread, lot, finish and coats.",
                   ""});
    for (WorkStep& step : out) step.what = in_words_of(settings, step.what);
    return out;
}

std::vector<std::string> cautions(const Settings& settings) {
    return {"Uncured resin and hardener can sensitise skin for life and burn: gloves, eye protection, fresh air; no solvent on skin.",
            "Keep solvents and flames apart. Heat a tip or a bubble only where no solvent is open.",
            "Breathe no sanding dust. Cut away from hand and blank.",
            "The maker's data sheet, local rules and licensed practice come first. Times above are common practice or this shop's, not a data sheet.",
            in_words_of(settings, "A match is an estimate: make a test {wrap} first; printed colours are no guide. Judge thread in daylight.")};
}

std::vector<std::string> test_wrap_blanks(const Settings& settings) {
    return {"date",           "spool and lot", "schedule", "coats", "L* a* b* dry", "L* a* b* finished", in_words_of(settings, "CIEDE2000 to the old {wrap}"),
            "leans which way", "good enough?"};
}

std::optional<Lab<D50>> dry_colour(const JobSheet& sheet, const std::string& code) {
    const SpoolEntry* known = sheet.rack.find(code);
    if (known == nullptr || known->spool.readings.empty()) return std::nullopt;
    return known->spool.reading_for({}).lab;
}

}  // namespace bindhue::capture

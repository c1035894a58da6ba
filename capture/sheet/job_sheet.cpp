#include "sheet/job_sheet.hpp"

#include <algorithm>
#include <cmath>

#include "colour/adaptation.hpp"
#include "sheet/job_words.hpp"
#include "sheet/page_layout.hpp"
#include "shop/atomic_file.hpp"

namespace bindhue::capture {
namespace {

std::string title_of(const JobSheet& sheet) { return "Job " + sheet.file.name; }

struct Heads {
    std::string old_wraps, to_wind, test;
    explicit Heads(const Settings& settings)
        : old_wraps(in_words_of(settings, std::string("The old {wraps} as read, widths in ") + Measures(settings.units).unit())),
          to_wind(in_words_of(settings, std::string("{Wraps} to wind, widths in ") + Measures(settings.units).unit() + " (spaces between them are not to scale)")),
          test(in_words_of(settings, "Test {wrap}")) {}
};

// The wraps of the job in its order, with a gap of bare blank between, which is not to scale.
std::vector<Strip> wraps_to_wind(const Job& job, const JobSheet& sheet) {
    constexpr std::size_t in_a_row = 8;
    const std::optional<Reading> blank = blank_of(sheet.old_rod);
    const std::optional<Lab<D50>> bare = blank ? std::optional(blank->lab) : std::nullopt;
    std::vector<Strip> out;
    std::size_t number = 0;
    double at = 0;
    for (const WantedBand& band : job.bands) {
        if (number % in_a_row == 0) {
            out.emplace_back();
            at = 0;
        }
        ++number;
        const double gap = 0.35 * std::max(10.0, band.winding.width_mm);
        out.back().parts.push_back({at, gap, band.winding.diameter_mm, bare, "", ""});
        at += gap;
        out.back().parts.push_back({at, band.winding.width_mm, band.winding.diameter_mm + 2 * band.winding.thread_mm,
                                    dry_colour(sheet, band.spool).value_or(Lab<D50>{85, 0, 0}), std::to_string(number),
                                    Measures(sheet.settings.units).length(band.winding.width_mm) + (band.count > 1 ? " x" + std::to_string(band.count) : "")});
        at += band.winding.width_mm;
        if (number % in_a_row == 0 || number == job.bands.size()) out.back().parts.push_back({at, gap, band.winding.diameter_mm, bare, "", ""});
    }
    return out;
}

std::vector<Strip> old_wraps(const JobSheet& sheet) {
    Strip out;
    for (const OldBand& band : sheet.old_rod)
        if (band.length_mm > 0)
            out.parts.push_back({band.start_mm, band.length_mm, band.diameter_mm, band.lab, band.is_blank ? "" : Measures(sheet.settings.units).length(band.length_mm), ""});
    if (out.parts.empty()) return {};
    return {out};
}

}  // namespace

Result<JobSheet> load_job_sheet(const Shop& shop, const std::string& name) {
    Result<JobFile> file = load_job(shop, name);
    if (!file) return file.error();
    return load_job_sheet(shop, std::move(*file), [&] { return shop.spools(); });
}

Result<JobSheet> load_job_sheet(const Shop& shop, JobFile file, const std::function<Result<SpoolFile>()>& open_rack) {
    JobSheet out;
    out.file = std::move(file);
    const std::string& name = out.file.name;
    Result<SpoolFile> rack = rack_for(out.file.job, open_rack, "job " + name);
    if (!rack) return rack.error();
    out.rack = std::move(*rack);
    Result<Settings> settings = load_settings(shop);
    if (!settings) return settings.error();
    out.settings = std::move(*settings);
    const std::filesystem::path reading = job_folder(shop, name) / "reading.json";
    const Result<std::string> text = read_file(reading);
    if (!text && text.error().reason == Reason::not_found) return out;
    if (!text) return text.error();
    Result<std::vector<OldBand>> old_rod = read_old_rod(*text, reading.string());
    if (!old_rod) return old_rod.error();
    out.old_rod = std::move(*old_rod);
    return out;
}

Result<std::string> job_sheet_pdf(const JobSheet& sheet, Paper paper) {
    const PaperSize size = upright(paper);
    const Heads heads(sheet.settings);
    Layout page(size);
    page.space(2);
    page.words(title_of(sheet) + (sheet.file.date.empty() ? "" : "   of " + date_of(sheet.settings, sheet.file.date)), false, 5.4);
    page.space(1);
    if (!sheet.file.note.empty()) page.words(sheet.file.note);
    for (const Strip& strip : old_wraps(sheet)) {
        page.heading(heads.old_wraps);
        page.strip(strip, 1.8);
    }
    page.heading(heads.to_wind);
    for (const Strip& strip : wraps_to_wind(sheet.file.job, sheet)) page.strip(strip, 1.2);
    page.table(wrap_heads(sheet.settings), wrap_rows(sheet));
    if (const std::string as_new = matched_as_new_line(sheet); !as_new.empty()) page.words(as_new);
    page.heading("Thread to have at hand");
    for (const std::string& line : thread_lines(sheet)) page.words(line, true);
    page.words(thread_note(sheet), false, small_mm);
    if (const std::string finish = finish_line(sheet); !finish.empty()) {
        page.heading("Finish to mix");
        page.words(finish);
    }
    page.heading("Order of work");
    for (const WorkStep& step : order_of_work(sheet.file.job, sheet.settings))
        page.words(step.what + (step.wait.empty() ? "" : "   Wait " + step.wait + "."), true);
    page.need(46);  // with its blanks
    page.heading(heads.test);
    page.blanks(test_wrap_blanks(sheet.settings));
    page.heading("Cautions");
    for (const std::string& line : cautions(sheet.settings)) page.words("\u2013 " + line, false, small_mm);
    return pdf_of(page.pages(), size.width_mm, size.height_mm, title_of(sheet));
}

std::string job_sheet_html(const JobSheet& sheet) {
    const Heads heads(sheet.settings);
    std::string out = html_opening(title_of(sheet)) + "<p>" + escaped(date_of(sheet.settings, sheet.file.date)) + "</p>\n";
    if (!sheet.file.note.empty()) out += "<p>" + escaped(sheet.file.note) + "</p>\n";
    for (const Strip& strip : old_wraps(sheet)) out += "<h2>" + heads.old_wraps + "</h2>\n" + svg_of_strip(strip, heads.old_wraps);
    out += "<h2>" + heads.to_wind + "</h2>\n";
    for (const Strip& strip : wraps_to_wind(sheet.file.job, sheet)) out += svg_of_strip(strip, heads.to_wind);
    out += "<div class=\"wide\"><table><thead><tr>";
    for (const std::string& head : wrap_heads(sheet.settings)) out += "<th>" + escaped(head) + "</th>";
    out += "<th>done</th></tr></thead><tbody>\n";
    for (const SheetRow& row : wrap_rows(sheet)) {
        out += "<tr>";
        for (const std::string& cell : row.cells) out += "<td>" + escaped(cell) + "</td>";
        out += "<td>\u2610</td></tr>\n";
    }
    out += "</tbody></table></div>\n";
    if (const std::string as_new = matched_as_new_line(sheet); !as_new.empty()) out += "<p>" + escaped(as_new) + "</p>\n";
    out += "<h2>Thread to have at hand</h2>\n<ul class=\"tick\">";
    for (const std::string& line : thread_lines(sheet)) out += "<li>" + escaped(line) + "</li>";
    out += "</ul>\n<p>" + escaped(thread_note(sheet)) + "</p>\n";
    if (const std::string finish = finish_line(sheet); !finish.empty()) out += "<h2>Finish to mix</h2>\n<p>" + escaped(finish) + "</p>\n";
    out += "<h2>Order of work</h2>\n<ul class=\"tick\">";
    for (const WorkStep& step : order_of_work(sheet.file.job, sheet.settings))
        out += "<li>" + escaped(step.what) + (step.wait.empty() ? "" : " <b>Wait " + escaped(step.wait) + ".</b>") + "</li>\n";
    out += "</ul>\n<h2>" + heads.test + "</h2>\n<div class=\"blanks\">";
    for (const std::string& blank : test_wrap_blanks(sheet.settings)) out += "<span>" + escaped(blank) + "</span>";
    out += "</div>\n<h2>Cautions</h2>\n<ul>";
    for (const std::string& line : cautions(sheet.settings)) out += "<li>" + escaped(line) + "</li>\n";
    return out + "</ul>\n</body></html>\n";
}

Status write_job_sheet(const JobSheet& sheet, const std::filesystem::path& path, Paper paper) {
    return write_page(path, paper, [&] { return job_sheet_html(sheet); }, [&](Paper p) { return job_sheet_pdf(sheet, p); });
}

}  // namespace bindhue::capture

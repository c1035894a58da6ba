#include "sheet/job_sheet.hpp"

#include <algorithm>
#include <cmath>

#include "colour/adaptation.hpp"
#include "sheet/job_words.hpp"
#include "sheet/number.hpp"
#include "sheet/pen.hpp"
#include "sheet/swatch.hpp"
#include "shop/atomic_file.hpp"

namespace bindhue::capture {
namespace {

constexpr double margin_mm = 14, text_mm = 3.1, small_mm = 2.6, line_mm = 1.35;

struct PaperSize {
    double width_mm, height_mm;
};
PaperSize upright(Paper paper) { return paper == Paper::a4 ? PaperSize{210, 297} : PaperSize{215.9, 279.4}; }

std::string one(double value) { return number("%.1f", value); }

// A word longer than a line would run off the page: it is cut, between characters of UTF-8, into parts that are shorter.
std::string broken(const std::string& text, double width_mm, double size) {
    double widest = 0;
    std::size_t longest = 0;
    on_scrap([&](Pen& pen) {
        for (std::size_t at = 0; at < text.size();) {
            const std::size_t end = std::min(text.find(' ', at), text.size());
            if (const double wide = pen.width_of(text.substr(at, end - at), size); wide > widest) {
                widest = wide;
                longest = end - at;
            }
            at = end + 1;
        }
    });
    if (widest <= width_mm) return text;
    const auto most = std::max<std::size_t>(1, static_cast<std::size_t>(0.6 * static_cast<double>(longest) * width_mm / widest));
    std::string out;
    std::size_t run = 0;
    for (const char c : text) {
        const bool starts = (static_cast<unsigned char>(c) & 0xC0U) != 0x80U;
        if (c == ' ') {
            run = 0;
        } else if (starts && ++run > most) {
            out += ' ';
            run = 1;
        }
        out += c;
    }
    return out;
}

std::string title_of(const JobSheet& sheet) { return "Job " + sheet.file.name; }

// A rod or a run of wraps, drawn to scale along and across.
struct Strip {
    struct Part {
        double begin_mm = 0, length_mm = 0, diameter_mm = 0;
        std::optional<Lab<D50>> colour;
        std::string above, below;
    };
    std::vector<Part> parts;

    double begin() const { return parts.front().begin_mm; }
    double length() const { return parts.back().begin_mm + parts.back().length_mm - begin(); }
    double across() const {
        double out = 1;
        for (const Part& part : parts) out = std::max(out, part.diameter_mm);
        return out;
    }
};

// The wraps of the job in its order, with a gap of bare blank between, which is not to scale.
std::vector<Strip> wraps_to_wind(const Job& job, const JobSheet& sheet) {
    constexpr std::size_t in_a_row = 8;
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
        out.back().parts.push_back({at, gap, band.winding.diameter_mm, std::nullopt, "", ""});
        at += gap;
        out.back().parts.push_back({at, band.winding.width_mm, band.winding.diameter_mm + 2 * band.winding.thread_mm,
                                    dry_colour(sheet, band.spool).value_or(Lab<D50>{85, 0, 0}), std::to_string(number),
                                    one(band.winding.width_mm) + (band.count > 1 ? " x" + std::to_string(band.count) : "")});
        at += band.winding.width_mm;
    }
    return out;
}

std::vector<Strip> old_wraps(const JobSheet& sheet) {
    Strip out;
    for (const OldBand& band : sheet.old_rod)
        if (band.length_mm > 0)
            out.parts.push_back({band.start_mm, band.length_mm, band.diameter_mm, band.lab, band.is_blank ? "" : one(band.length_mm), ""});
    if (out.parts.empty()) return {};
    return {out};
}

// Lays text down the page and turns to a new one when it is full. Measures and draws by the same code, page by page.
class Layout {
  public:
    explicit Layout(PaperSize size) : size_(size) { turn(); }

    std::vector<Page> pages() const {
        std::vector<Page> out;
        for (const auto& marks : pages_)
            out.push_back([marks](Pen& pen) {
                for (const auto& mark : marks) mark(pen);
            });
        return out;
    }

    double width() const { return size_.width_mm - 2 * margin_mm; }
    void space(double mm) { y_ += mm; }
    void need(double mm) {
        if (y_ + mm > size_.height_mm - margin_mm) turn();
    }

    void heading(const std::string& words) {
        need(16);
        y_ += 2.5;
        put([y = y_](Pen& pen, const std::string& text) {
            pen.bold(true);
            pen.text({margin_mm, y}, text, 3.8);
            pen.bold(false);
        }, words);
        y_ += 5.6;
    }
    // `tick`: an empty box before it.
    void words(const std::string& said, bool tick = false, double size = text_mm) {
        const double indent = tick ? 6 : 0;
        const std::string text = broken(said, width() - indent, size);
        const double height = line_mm * size * static_cast<double>(lines(text, width() - indent, size));
        need(height);
        put([=, this, y = y_](Pen& pen, const std::string& t) {
            if (tick) pen.outline({margin_mm, y - 2.7, 3.2, 3.2}, 0.25, false);
            pen.paragraph(margin_mm + indent, y, size_.width_mm - 2 * margin_mm - indent, t, size);
        }, text);
        y_ += height + (tick ? 1.1 : 0.4);
    }
    void strip(const Strip& strip, double most_scale) {
        const double scale = std::min({most_scale, width() / strip.length(), 26 / strip.across()});
        const double half = scale * strip.across() / 2, height = 2 * half + 10;
        need(height);
        const double middle = y_ + 3 + half;
        put([=](Pen& pen, const std::string&) {
            double last_above = -1e9, last_below = -1e9;
            for (const Strip::Part& part : strip.parts) {
                const double x = margin_mm + scale * (part.begin_mm - strip.begin()), w = scale * part.length_mm,
                             h = scale * part.diameter_mm;
                const CardRect box{x, middle - h / 2, w, h};
                if (part.colour) {
                    pen.colour(to_display(*part.colour));
                    pen.fill(box);
                }
                pen.colour(0.2);
                pen.outline(box, 0.15, false);
                pen.colour(0);
                // A word that has no room stands a line away.
                const auto word = [&](const std::string& text, double y, double away, double& last) {
                    if (text.empty()) return;
                    const double wide = pen.width_of(text, small_mm), at = x + w / 2;
                    const bool crowded = at - wide / 2 < last + 0.6;
                    pen.centred({at, crowded ? y + away : y}, text, small_mm);
                    if (!crowded) last = at + wide / 2;
                };
                word(part.above, middle - half - 1, -2.8, last_above);
                word(part.below, middle + half + 3.2, 2.8, last_below);
            }
        }, "");
        y_ += height + 1;
    }
    void table(const std::vector<std::string>& heads, const std::vector<SheetRow>& rows) {
        const double size = small_mm, tick = 6;
        const auto row_height = [&](const SheetRow& row) {
            std::size_t most = 1;
            for (std::size_t i = 0; i < row.cells.size(); ++i) most = std::max(most, lines(broken(row.cells[i], cell_width(i, tick), size), cell_width(i, tick), size));
            return line_mm * size * static_cast<double>(most) + 1.6;
        };
        const auto draw_row = [&](const SheetRow& row, bool head) {
            const double height = row_height(row);
            need(height);
            put([=, this, y = y_](Pen& pen, const std::string&) {
                if (head) pen.bold(true);
                if (!head) pen.outline({margin_mm, y - 2.4, 2.9, 2.9}, 0.25, false);
                double x = margin_mm + tick;
                for (std::size_t i = 0; i < row.cells.size(); ++i) {
                    pen.paragraph(x, y, cell_width(i, tick), broken(row.cells[i], cell_width(i, tick), size), size);
                    x += cell_width(i, tick) + 1.5;
                }
                pen.bold(false);
                pen.line({margin_mm, y + height - 3.9}, {size_.width_mm - margin_mm, y + height - 3.9}, 0.1);
            }, "");
            y_ += height;
        };
        draw_row({heads}, true);
        for (const SheetRow& row : rows) draw_row(row, false);
        y_ += 1;
    }
    void blanks(const std::vector<std::string>& names) {
        constexpr double each_mm = 9;
        need(each_mm * 3 + 4);
        const double wide = width() / 3;
        for (std::size_t i = 0; i < names.size(); ++i) {
            const double x = margin_mm + wide * static_cast<double>(i % 3), y = y_ + each_mm * static_cast<double>(i / 3 + 1) - 2;
            put([=](Pen& pen, const std::string& text) {
                pen.text({x, y}, text, small_mm);
                pen.line({x + pen.width_of(text, small_mm) + 1.5, y + 0.4}, {x + wide - 4, y + 0.4}, 0.15);
            }, names[i]);
        }
        y_ += each_mm * static_cast<double>((names.size() + 2) / 3) + 2;
    }

  private:
    using Mark = std::function<void(Pen&)>;

    double cell_width(std::size_t i, double tick) const {
        static const std::vector<double> shares{0.06, 0.10, 0.23, 0.14, 0.08, 0.08, 0.07, 0.10, 0.07, 0.07};
        return (width() - tick) * shares[std::min(i, shares.size() - 1)] - 1.5;
    }
    void turn() {
        pages_.emplace_back();
        y_ = margin_mm + 4;
    }
    template <class F>
    void put(F draw, const std::string& text) {
        pages_.back().push_back([draw, text](Pen& pen) {
            pen.colour(0);
            draw(pen, text);
        });
    }
    // By the widths that the page itself will have, on a surface that is thrown away.
    static std::size_t lines(const std::string& text, double width_mm, double size) {
        std::size_t out = 1;
        on_scrap([&](Pen& pen) { out = static_cast<std::size_t>(std::lround(pen.paragraph(0, 0, width_mm, text, size) / (line_mm * size))); });
        return std::max<std::size_t>(1, out);
    }

    PaperSize size_;
    std::vector<std::vector<Mark>> pages_;
    double y_ = 0;
};

std::string escaped(const std::string& text) {
    std::string out;
    for (const char c : text) {
        switch (c) {
            case '&': out += "&amp;"; break;
            case '<': out += "&lt;"; break;
            case '>': out += "&gt;"; break;
            case '"': out += "&quot;"; break;
            default: out += c;
        }
    }
    return out;
}

std::string svg_of_strip(const Strip& strip, const std::string& name) {
    constexpr double least_mm = 120;  // of the width: a lone wrap is not drawn like a barrel
    const double h = strip.across() + 12;
    std::string out = "<svg role=\"img\" aria-label=\"" + escaped(name) + "\" viewBox=\"" + one(strip.begin()) + " 0 " + one(std::max(least_mm, strip.length())) +
                      " " + one(h) + "\">";
    for (const Strip::Part& part : strip.parts) {
        out += "<rect x=\"" + one(part.begin_mm) + "\" y=\"" + one((h - part.diameter_mm) / 2) + "\" width=\"" + one(part.length_mm) +
               "\" height=\"" + one(part.diameter_mm) + "\" fill=\"" + (part.colour ? screen_hex(*part.colour) : "none") + "\"/>";
        const std::string x = one(part.begin_mm + part.length_mm / 2);
        if (!part.above.empty()) out += "<text x=\"" + x + "\" y=\"" + one((h - strip.across()) / 2 - 1) + "\">" + escaped(part.above) + "</text>";
        if (!part.below.empty()) out += "<text x=\"" + x + "\" y=\"" + one((h + strip.across()) / 2 + 4) + "\">" + escaped(part.below) + "</text>";
    }
    return out + "</svg>\n";
}

}  // namespace

Result<JobSheet> load_job_sheet(const Shop& shop, const std::string& name) {
    JobSheet out;
    Result<JobFile> file = load_job(shop, name);
    if (!file) return file.error();
    out.file = std::move(*file);
    Result<SpoolFile> rack = rack_for(out.file.job, [&] { return shop.spools(); }, "job " + name);
    if (!rack) return rack.error();
    out.rack = std::move(*rack);
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
    Layout page(size);
    page.space(2);
    page.words(title_of(sheet) + (sheet.file.date.empty() ? "" : "   of " + sheet.file.date), false, 5.4);
    page.space(1);
    if (!sheet.file.note.empty()) page.words(sheet.file.note);
    for (const Strip& strip : old_wraps(sheet)) {
        page.heading("The old wraps as read, widths in mm");
        page.strip(strip, 1.8);
    }
    page.heading("Wraps to wind, widths in mm (spaces between them are not to scale)");
    for (const Strip& strip : wraps_to_wind(sheet.file.job, sheet)) page.strip(strip, 1.2);
    page.table(wrap_heads(), wrap_rows(sheet));
    page.heading("Thread to have at hand");
    for (const std::string& line : thread_lines(sheet)) page.words(line, true);
    page.words(thread_note(sheet), false, small_mm);
    if (const std::string finish = finish_line(sheet); !finish.empty()) {
        page.heading("Finish to mix");
        page.words(finish);
    }
    page.heading("Order of work");
    for (const WorkStep& step : order_of_work(sheet.file.job))
        page.words(step.what + (step.wait.empty() ? "" : "   Wait " + step.wait + "."), true);
    page.need(46);  // with its blanks
    page.heading("Test wrap");
    page.blanks(test_wrap_blanks());
    page.heading("Cautions");
    for (const std::string& line : cautions()) page.words("\u2013 " + line, false, small_mm);
    return pdf_of(page.pages(), size.width_mm, size.height_mm, title_of(sheet));
}

std::string job_sheet_html(const JobSheet& sheet) {
    std::string out =
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><meta name=\"viewport\" "
        "content=\"width=device-width, initial-scale=1\">\n<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; "
        "style-src 'unsafe-inline'\">\n<title>" + escaped(title_of(sheet)) + "</title>\n<style>body{font:11pt/1.4 system-ui,sans-serif;"
        "margin:1.5rem auto;max-width:50rem;padding:0 1rem;color:#000;background:#fff}h2{font-size:1.05rem;margin:1rem 0 .3rem}"
        "table{border-collapse:collapse;width:100%}th,td{border-bottom:1px solid #999;text-align:left;padding:.25rem .4rem;vertical-align:top}"
        ".wide{overflow-x:auto}ol,ul{padding-left:1.3rem;margin:.2rem 0}svg{width:100%;height:auto;display:block}"
        "svg rect{stroke:#333;stroke-width:.3}svg text{font-size:4px;text-anchor:middle}.tick{list-style:none;padding:0}"
        ".tick li::before{content:'\\2610\\00a0\\00a0'}.blanks{display:grid;grid-template-columns:repeat(auto-fill,minmax(14rem,1fr));gap:1rem}"
        ".blanks span{border-bottom:1px solid #000;padding-bottom:.2rem}</style></head>\n<body>\n<h1>" + escaped(title_of(sheet)) + "</h1>\n<p>" +
        escaped(sheet.file.date) + "</p>\n";
    if (!sheet.file.note.empty()) out += "<p>" + escaped(sheet.file.note) + "</p>\n";
    for (const Strip& strip : old_wraps(sheet)) out += "<h2>The old wraps as read, widths in mm</h2>\n" + svg_of_strip(strip, "The old wraps");
    out += "<h2>Wraps to wind, widths in mm (spaces between them are not to scale)</h2>\n";
    for (const Strip& strip : wraps_to_wind(sheet.file.job, sheet)) out += svg_of_strip(strip, "The wraps to wind");
    out += "<div class=\"wide\"><table><thead><tr>";
    for (const std::string& head : wrap_heads()) out += "<th>" + escaped(head) + "</th>";
    out += "<th>done</th></tr></thead><tbody>\n";
    for (const SheetRow& row : wrap_rows(sheet)) {
        out += "<tr>";
        for (const std::string& cell : row.cells) out += "<td>" + escaped(cell) + "</td>";
        out += "<td>\u2610</td></tr>\n";
    }
    out += "</tbody></table></div>\n<h2>Thread to have at hand</h2>\n<ul class=\"tick\">";
    for (const std::string& line : thread_lines(sheet)) out += "<li>" + escaped(line) + "</li>";
    out += "</ul>\n<p>" + escaped(thread_note(sheet)) + "</p>\n";
    if (const std::string finish = finish_line(sheet); !finish.empty()) out += "<h2>Finish to mix</h2>\n<p>" + escaped(finish) + "</p>\n";
    out += "<h2>Order of work</h2>\n<ul class=\"tick\">";
    for (const WorkStep& step : order_of_work(sheet.file.job))
        out += "<li>" + escaped(step.what) + (step.wait.empty() ? "" : " <b>Wait " + escaped(step.wait) + ".</b>") + "</li>\n";
    out += "</ul>\n<h2>Test wrap</h2>\n<div class=\"blanks\">";
    for (const std::string& blank : test_wrap_blanks()) out += "<span>" + escaped(blank) + "</span>";
    out += "</div>\n<h2>Cautions</h2>\n<ul>";
    for (const std::string& line : cautions()) out += "<li>" + escaped(line) + "</li>\n";
    return out + "</ul>\n</body></html>\n";
}

Status write_job_sheet(const JobSheet& sheet, const std::filesystem::path& path, Paper paper) {
    const std::string ending = path.extension().string();
    if (ending == ".html") return save_file(path, job_sheet_html(sheet), Previous::forgotten);
    if (ending != ".pdf")
        return Error{Reason::bad_value, "the sheet is written as PDF or HTML only", path.string(), "let the name end in .pdf or .html"};
    const Result<std::string> pdf = job_sheet_pdf(sheet, paper);
    return pdf ? save_file(path, *pdf, Previous::forgotten) : Status(pdf.error());
}

}  // namespace bindhue::capture

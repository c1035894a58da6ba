#include "sheet/customer_note.hpp"

#include <algorithm>

#include "colour/coated_blank.hpp"
#include "colour/quantities.hpp"
#include "colour/words.hpp"
#include "sheet/page_layout.hpp"
#include "shop/atomic_file.hpp"
#include "shop/coat_tests.hpp"
#include "shop/grounds.hpp"

namespace bindhue::capture {
namespace {

std::string title_of(const CustomerNote& note) {
    const std::string& shop = note.sheet.settings.shop_name;
    return (shop.empty() ? "" : shop + ": ") + "note on a rod";
}

std::string which(const CustomerNote& note) {
    const JobFile& file = note.sheet.file;
    return "Job " + file.name + (file.date.empty() ? "" : " of " + date_of(note.sheet.settings, file.date));
}

std::string ground_of(const WantedBand& band, bool blank_was_read) {
    if (!band.ground.empty() && (band.ground != "blank" || blank_was_read)) return band.ground;
    return band.winding.underwrap_mm > 0 ? "white" : blank_was_read ? "blank" : "dark";
}

std::string ground_in_words(const WantedBand& band, const std::string& ground) {
    if (const std::string spool = underwrap_spool(band); !spool.empty()) return "an underwrap of " + spool;
    if (ground == "white") return band.ground == "white" ? "a white underwrap" : "a white underwrap (assumed)";
    if (ground == "blank") return "the blank as read";
    return ground == "dark" ? "a dark blank (assumed)" : "a ground of L*, a*, b* " + ground;
}

const std::optional<Reading>& matched_look(const NewLook& look) { return look.as_new ? look.as_new : look.old_look; }

struct WrapWords {
    std::string over;
    std::vector<std::string> beside;
};

std::string look_words(const Lab<D50>& lab) { return colour_words(lab) + number(" (L* %.1f", lab.L) + number(", a* %.1f", lab.a) + number(", b* %.1f)", lab.b); }

WrapWords words_of(const CustomerNote& note, std::size_t i) {
    const WantedBand& band = note.sheet.file.job.bands[i];
    const NewLook& look = note.looks[i];
    const Settings& settings = note.sheet.settings;
    const Measures measures(settings.units);
    WrapWords out;
    out.over = in_words_of(settings, (band.count > 1 ? std::to_string(band.count) + " {wraps}" : "{Wrap}") + std::string(" of ")) + measures.length(band.winding.width_mm) + " " + measures.unit();
    if (const SpoolEntry* spool = note.sheet.rack.find(band.spool))
        out.over += ": " + (spool->spool.name.empty() ? spool->spool.code : spool->spool.name) + ", " + std::string(name(spool->spool.material));
    if (band.schedule) out.over += *band.schedule == Schedule::none ? ", dry" : *band.schedule == Schedule::finish ? ", under finish" : ", under preserver and finish";
    if (look.old_look) out.beside.push_back("Old, as read: " + look_words(look.old_look->lab) + ".");
    if (look.as_new) out.beside.push_back("Old, as it was before its finish went amber: " + look_words(look.as_new->lab) + ".");
    if (look.new_look) {
        out.beside.push_back("New, as it is expected over " + look.ground + ": " + look_words(look.new_look->lab) + ".");
        if (const auto& matched = matched_look(look)) {
            const std::string leans = lean(matched->lab, look.new_look->lab);
            const DifferenceDistribution difference(*matched, *look.new_look);
            out.beside.push_back((look.as_new ? "Expected difference from the old one as it was: " : "Expected difference: ") + number("%.1f CIEDE2000", difference.expected()) + number(" (95 %%: %.1f", difference.quantile(0.025)) + number(" to %.1f)", difference.quantile(0.975)) + (leans.empty() ? "." : "; the new one is " + leans + "."));
        }
        out.beside.push_back(look.coat_tests == 0 ? "Reckoned, not tried: this shop has no coat test of such thread yet."
                                                  : "Reckoned from " + std::to_string(look.coat_tests) + (look.coat_tests == 1 ? " coat test" : " coat tests") + " of this shop.");
    }
    return out;
}

std::vector<std::string> materials(const CustomerNote& note) {
    std::vector<std::string> out;
    const Job& job = note.sheet.file.job;
    for (const auto& [code, metres] : takes(job).metres) {
        const SpoolEntry* spool = note.sheet.rack.find(code);
        if (spool == nullptr) continue;
        const Spool& s = spool->spool;
        out.push_back(s.code + (s.name.empty() ? "" : " " + s.name) + ": " + std::string(name(s.material)) + (s.size.empty() ? "" : ", size " + s.size) + (s.lot.empty() ? "" : ", lot " + s.lot));
    }
    if (std::any_of(job.bands.begin(), job.bands.end(), [](const WantedBand& b) { return b.schedule != Schedule::none; }))
        out.push_back("Finish: ________________, " + std::to_string(job.coats) + (job.coats == 1 ? " coat" : " coats"));
    return out;
}

std::vector<std::string> closing(const Settings& settings) {
    return {"Colours here are read and reckoned; a printer's or a screen's are no guide. Compare old and new in daylight.",
            "New thread is expected to look so when it is finished; it is an estimate until it lies there.",
            in_words_of(settings, "Let the finish harden as its maker's data sheet says before the rod is used, and keep solvents and flames off the {wraps}.")};
}

std::string money(double amount, const Prices& prices) { return number("%.2f", amount) + (prices.currency.empty() ? "" : " " + prices.currency); }

std::vector<std::string> quote_lines(const CustomerNote& note) {
    const Settings& settings = note.sheet.settings;
    if (!settings.prices) return {};
    std::vector<std::string> out;
    double total = 0;
    for (const QuoteLine& line : quote(note.sheet.file.job, *settings.prices, settings)) {
        out.push_back(line.what + ": " + money(line.amount, *settings.prices));
        total += line.amount;
    }
    if (!out.empty()) out.push_back("In all: " + money(total, *settings.prices) + ". Taxes, where they apply, are not in it.");
    return out;
}

// What the old and the new wrap of a band lie beside; none where no blank was read.
std::optional<std::pair<Lab<D50>, Lab<D50>>> blanks_of(const CustomerNote& note, const WantedBand& band) {
    if (!note.blank) return std::nullopt;
    const bool coated = note.coated_blank && band.schedule != Schedule::none;
    return std::pair{note.blank->lab, coated ? note.coated_blank->lab : note.blank->lab};
}

std::string svg_of_pair(const NewLook& look, const std::optional<std::pair<Lab<D50>, Lab<D50>>>& blanks) {
    const auto box = [](double x, double y, double wide, double high, const std::string& colour) {
        return formatted("<rect x=\"%.0f\" y=\"%.0f\" width=\"%.0f\" height=\"%.0f\" fill=\"", x, y, wide, high) + colour + "\"/>";
    };
    std::string out = "<svg class=\"pair\" role=\"img\" aria-label=\"old beside new\" viewBox=\"-6 0 100 26\">";
    if (blanks) out += box(-6, 1, 6, 24, screen_hex(blanks->first)) + box(88, 1, 6, 24, screen_hex(blanks->second));
    double x = 0;
    for (const auto& colour : {matched_look(look), look.new_look}) {
        out += box(x, 0, 44, 26, colour ? screen_hex(colour->lab) : "none");
        x += 44;
    }
    return out + "</svg>";
}

std::string list_of(const std::vector<std::string>& lines) {
    std::string out = "<ul>";
    for (const std::string& line : lines) out += "<li>" + escaped(line) + "</li>\n";
    return out + "</ul>\n";
}

}  // namespace

std::vector<QuoteLine> quote(const Job& job, const Prices& prices, const Settings& settings) {
    std::vector<QuoteLine> out;
    int wraps = 0;
    double metres = 0;
    for (const WantedBand& band : job.bands) wraps += band.count;
    const Takes taken = takes(job);
    for (const auto& [code, m] : taken.metres) metres += m;
    const bool finished = std::any_of(job.bands.begin(), job.bands.end(), [](const WantedBand& b) { return b.schedule != Schedule::none; });
    const double ml = finished ? job.coats * batch_ml(taken.film_ml) : 0;
    if (prices.wrap > 0) out.push_back({std::to_string(wraps) + in_words_of(settings, wraps == 1 ? " {wrap}" : " {wraps}") + number(" at %.2f", prices.wrap), wraps * prices.wrap});
    if (prices.metre > 0) out.push_back({number("%.1f m of thread", metres) + number(" at %.2f", prices.metre), metres * prices.metre});
    if (prices.ml > 0 && ml > 0) out.push_back({number("%.0f ml of finish", ml) + number(" at %.2f", prices.ml), ml * prices.ml});
    return out;
}

Result<CustomerNote> load_customer_note(const Shop& shop, const std::string& name) {
    Result<JobSheet> sheet = load_job_sheet(shop, name);
    if (!sheet) return sheet.error();
    const Result<CoatModel> model = load_coat_model(shop.folder());
    if (!model) return model.error();
    CustomerNote out{std::move(*sheet), {}, {}, {}};
    const std::vector<OldBand>& rod = out.sheet.old_rod;
    const std::optional<Reading>& blank = out.blank = blank_of(rod);
    if (blank)
        if (auto coated = coated_blank(*blank)) out.coated_blank = std::move(*coated);
    for (const WantedBand& band : out.sheet.file.job.bands) {
        NewLook look;
        if (band.replaces > 0 && static_cast<std::size_t>(band.replaces) <= rod.size()) {
            const OldBand& old = rod[static_cast<std::size_t>(band.replaces) - 1];
            look.old_look = Reading{old.lab, old.covariance, {}};
            if (band.old_finish) {
                const Result<Reading> clear = as_new(*look.old_look, *band.old_finish);
                if (!clear) return clear.error();
                look.as_new = *clear;
            }
        }
        const SpoolEntry* spool = out.sheet.rack.find(band.spool);
        if (spool != nullptr && band.schedule && !spool->spool.readings.empty()) {
            const std::string ground = ground_of(band, blank.has_value());
            look.ground = ground_in_words(band, ground);
            const auto grounds = parse_grounds({ground}, blank, out.sheet.rack.palette(), {});
            if (!grounds) return grounds.error();
            const Spool& s = spool->spool;
            if (const auto finished = model->predict(s.material, *band.schedule, s.size_mm, s.reading_for({}), grounds->front().colour)) {
                look.new_look = *finished;
                look.coat_tests = model->tests(s.material, *band.schedule);
            }
        }
        out.looks.push_back(std::move(look));
    }
    return out;
}

Result<std::string> customer_note_pdf(const CustomerNote& note, Paper paper) {
    const PaperSize size = upright(paper);
    Layout page(size);
    page.space(2);
    page.words(title_of(note), false, 5.4);
    page.words(which(note));
    if (!note.sheet.file.note.empty()) page.words(note.sheet.file.note);
    page.heading("Old beside new");
    for (std::size_t i = 0; i < note.looks.size(); ++i) {
        const WrapWords words = words_of(note, i);
        const auto lab = [](const std::optional<Reading>& look) { return look ? std::optional(look->lab) : std::nullopt; };
        page.pair(words.over, lab(matched_look(note.looks[i])), lab(note.looks[i].new_look), words.beside, blanks_of(note, note.sheet.file.job.bands[i]));
    }
    page.heading("What is on the rod");
    for (const std::string& line : materials(note)) page.words(line);
    if (const auto lines = quote_lines(note); !lines.empty()) {
        page.heading("Quote");
        for (const std::string& line : lines) page.words(line);
    }
    page.heading("Good to know");
    for (const std::string& line : closing(note.sheet.settings)) page.words("\u2013 " + line, false, small_mm);
    return pdf_of(page.pages(), size.width_mm, size.height_mm, title_of(note));
}

std::string customer_note_html(const CustomerNote& note) {
    std::string out = html_opening(title_of(note)) + "<p>" + escaped(which(note)) + "</p>\n";
    if (!note.sheet.file.note.empty()) out += "<p>" + escaped(note.sheet.file.note) + "</p>\n";
    out += "<h2>Old beside new</h2>\n";
    for (std::size_t i = 0; i < note.looks.size(); ++i) {
        const WrapWords words = words_of(note, i);
        out += "<h3>" + escaped(words.over) + "</h3>\n" + svg_of_pair(note.looks[i], blanks_of(note, note.sheet.file.job.bands[i]));
        for (const std::string& said : words.beside) out += "<p>" + escaped(said) + "</p>\n";
    }
    out += "<h2>What is on the rod</h2>\n" + list_of(materials(note));
    if (const auto lines = quote_lines(note); !lines.empty()) out += "<h2>Quote</h2>\n" + list_of(lines);
    return out + "<h2>Good to know</h2>\n" + list_of(closing(note.sheet.settings)) + "</body></html>\n";
}

Status write_customer_note(const CustomerNote& note, const std::filesystem::path& path, Paper paper) {
    return write_page(path, paper, [&] { return customer_note_html(note); }, [&](Paper p) { return customer_note_pdf(note, p); });
}

}  // namespace bindhue::capture

#include "sheet/card_sheet.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <optional>

#include "colour/adaptation.hpp"
#include "sheet/pen.hpp"
#include "shop/atomic_file.hpp"

namespace bindhue::capture {
namespace {

constexpr double margin_mm = 12;  // beyond what home printers leave blank
constexpr double gap_mm = 10;     // between the card or the mask and the words beside it
constexpr double narrowest_words_mm = 60;
constexpr double mask_mm = 180, lens_mm = 16;  // diameters

struct PaperSize {
    double width_mm, height_mm;
    const char* name;
};
PaperSize size_of(Paper paper) {
    return paper == Paper::a4 ? PaperSize{297, 210, "A4"} : PaperSize{279.4, 215.9, "letter"};
}

CardRect inset(const CardRect& r, double by_mm) {
    return {r.x_mm + by_mm, r.y_mm + by_mm, r.width_mm - 2 * by_mm, r.height_mm - 2 * by_mm};
}

// The white that bare paper stands for.
XYZ<D50> paper_white(const CardLayout& card) {
    Lab<D50> lightest{100, 0, 0};
    double best = 85;
    for (const CardPatch& patch : card.patches)
        if (patch.role == PatchRole::grey && patch.lab.L >= best) {
            best = patch.lab.L;
            lightest = patch.lab;
        }
    return to_xyz(lightest);
}

EncodedSrgb on_paper(const Lab<D50>& lab, const XYZ<D50>& white) {
    const XYZ<D50> c = to_xyz(lab);
    return to_display(
        to_lab(XYZ<D50>{c.X * D50::X / white.X, c.Y * D50::Y / white.Y, c.Z * D50::Z / white.Z}));
}

void draw_marker(Pen& pen, FiducialFamily family, const CardMarker& marker) {
    const MarkerPattern pattern = marker_pattern(family, marker.id);
    const double cell = marker.rect.width_mm / pattern.side;
    std::vector<CardRect> runs;
    for (int row = 0; row < pattern.side; ++row)
        for (int column = 0; column < pattern.side;) {
            const auto black = [&](int c) {
                return c < pattern.side && pattern.black[static_cast<std::size_t>(row * pattern.side + c)];
            };
            int end = column;
            while (black(end)) ++end;
            if (end > column)
                runs.push_back({marker.rect.x_mm + cell * column, marker.rect.y_mm + cell * row,
                                cell * (end - column), cell});
            column = std::max(end, column + 1);
        }
    pen.fill(runs);
}

void draw_scale(Pen& pen, const CardScale& scale) {
    for (int mm = 0; mm <= static_cast<int>(scale.length_mm + 1e-6); ++mm) {
        const double x = scale.zero.x_mm + mm, end = scale.zero.y_mm + 1;
        const double length = mm % 10 == 0 ? 1.0 : mm % 5 == 0 ? 0.75 : 0.5;
        pen.line({x, end - length}, {x, end}, 0.12);
        if (mm % 10 == 0) pen.centred({x, scale.zero.y_mm - 0.2}, std::to_string(mm), 1.5);
    }
}

// A strip at the lower or upper edge where nothing else is printed.
std::optional<CardRect> room_for_label(const CardLayout& card) {
    const double x = 0.13 * card.width_mm, width = card.width_mm - 2 * x;
    for (const double y : {card.height_mm - 5, 1.5}) {
        const CardRect strip{x, y, width, 3.5};
        bool free = !(card.opening && card.opening->overlaps(strip));
        for (const CardPatch& patch : card.patches) free = free && !patch.rect.overlaps(strip);
        for (const CardMarker& marker : card.markers) free = free && !marker.rect.overlaps(strip);
        if (card.scale)
            free =
                free && !CardRect{card.scale->zero.x_mm, card.scale->zero.y_mm - 2, card.scale->length_mm, 3}
                             .overlaps(strip);
        if (free) return strip;
    }
    return std::nullopt;
}

void draw_card(Pen& pen, const CardLayout& card) {
    const XYZ<D50> white = paper_white(card);
    for (const CardPatch& patch : card.patches) {
        if (patch.role == PatchRole::trap) {
            // Black to its edge, so that a cut a little too small leaves no bright rim.
            pen.colour(0);
            pen.fill(patch.rect);
            pen.colour(1);
            pen.outline(inset(patch.rect, 0.4), 0.2, true);
            pen.centred({patch.rect.centre().x_mm, patch.rect.centre().y_mm - 0.3}, "cut", 2.2);
            pen.centred({patch.rect.centre().x_mm, patch.rect.centre().y_mm + 2.0}, "out", 2.2);
        } else {
            pen.colour(on_paper(patch.lab, white));
            pen.fill(patch.rect);
        }
    }
    pen.colour(0);
    for (const CardMarker& marker : card.markers) draw_marker(pen, card.family, marker);
    if (card.scale) draw_scale(pen, *card.scale);
    if (const auto strip = room_for_label(card)) {
        const std::string label = card.name + "   \u00b7   " + std::string(name(card.trust)) +
                                  "   \u00b7   printed on ________ paper ____________";
        const double size = std::min(2.2, 2.2 * strip->width_mm / std::max(1.0, pen.width_of(label, 2.2)));
        pen.colour(0.25);
        pen.text({strip->x_mm, strip->bottom_mm() - 0.9}, label, size);
    }
    pen.colour(0.45);
    if (card.opening) {
        pen.outline(*card.opening, 0.2, true);
        pen.centred({card.opening->centre().x_mm, card.opening->centre().y_mm + 1},
                    "cut out: the rod lies here", 3);
    }
    pen.outline(card.outline(), 0.2, true);
}

void draw_ruler(Pen& pen, const CardPoint& left) {
    pen.colour(0);
    pen.line(left, {left.x_mm + 100, left.y_mm}, 0.4);
    for (const double x : {0.0, 100.0})
        pen.line({left.x_mm + x, left.y_mm - 2}, {left.x_mm + x, left.y_mm + 2}, 0.15);
    pen.text({left.x_mm, left.y_mm + 5.5},
             "From tick to tick 100 mm. If yours is not within 0.3 mm, print again at 100 %.", 2.8);
}

std::vector<std::string> making(const CardLayout& card) {
    std::vector<std::string> steps{
        "Print at 100 % (\u201cactual size\u201d), in colour, best quality, on heavy white matt paper. No "
        "scaling, no "
        "\u201cfit to page\u201d.",
        "Measure the line below the card with a good ruler: it must be 100 mm long.",
        "Let the print dry for a day, out of the light.",
    };
    const bool traps = std::any_of(card.patches.begin(), card.patches.end(),
                                   [](const CardPatch& p) { return p.role == PatchRole::trap; });
    if (traps)
        steps.push_back(
            "Cut out the black squares marked \u201ccut out\u201d and stick black velvet behind them, its "
            "pile "
            "towards you. They show how much stray light the photo holds.");
    if (card.opening) steps.push_back("Cut out the opening along its dashed line.");
    steps.push_back(
        "Cut the card out along its outer dashed line. Glue it flat to stiff board with the same holes.");
    steps.push_back("Write down the date and the paper. Each print is a card of its own.");
    steps.push_back(
        card.trust == Trust::nominal
            ? "The colours are nominal, as designed, until this print has been measured: so far it serves to "
              "compare readings made with this one print."
            : "The values in the file belong to the print that they were taken from. A new print is nominal "
              "until it has values of its own.");
    steps.push_back(
        "Keep it flat, dry, clean and in the dark. When it has faded or is soiled, print a new one.");
    return steps;
}

std::vector<std::string> photographing(const CardLayout& card) {
    std::vector<std::string> steps;
    if (card.opening)
        steps.push_back(
            "Lay the rod under the opening. Raise the card on two blocks until its face is level with the "
            "top of the rod.");
    steps.push_back(
        "Light it from the sides, by daylight if you can, and by one kind of light only. No flash, no flecks "
        "of sun.");
    steps.push_back(
        "Hold the camera straight above, 25 to 40 cm away, with the mask round the lens. All of the card "
        "must be in the "
        "picture, sharp, and fill it.");
    steps.push_back(
        "White must not burn out: take some exposure off. Switch off HDR, portrait and digital zoom.");
    return steps;
}

// Returns where the next heading may stand.
double draw_list(Pen& pen, const CardRect& room, const std::string& heading,
                 const std::vector<std::string>& steps) {
    double y = room.y_mm + 4;
    pen.colour(0);
    pen.bold(true);
    pen.text({room.x_mm, y}, heading, 4);
    pen.bold(false);
    y += 7;
    int number = 0;
    for (const std::string& step : steps) {
        pen.text({room.x_mm, y}, std::to_string(++number) + ".", 3);
        y = pen.paragraph(room.x_mm + 6, y, room.width_mm - 6, step, 3) + 1.4;
    }
    return y;
}

void draw_instructions(Pen& pen, const CardLayout& card, const CardRect& room) {
    const double y = draw_list(pen, room, "To make a card of this sheet", making(card));
    draw_list(pen, {room.x_mm, y, room.width_mm, 0}, "To take the photo", photographing(card));
}

void draw_title(Pen& pen, const std::string& title) {
    pen.colour(0);
    pen.bold(true);
    pen.text({margin_mm, margin_mm + 5}, title, 5);
    pen.bold(false);
}

// Which patch is which, for measuring them one by one.
void draw_key(Pen& pen, const CardLayout& card, const CardRect& room) {
    const double scale = std::min(room.width_mm / card.width_mm, room.height_mm / card.height_mm);
    pen.move({room.x_mm, room.y_mm}, scale);
    pen.colour(0.3);
    pen.outline(card.outline(), 0.2 / scale, false);
    if (card.opening) pen.outline(*card.opening, 0.2 / scale, true);
    for (const CardMarker& marker : card.markers) pen.outline(marker.rect, 0.1 / scale, false);
    for (const CardPatch& patch : card.patches) {
        pen.outline(patch.rect, 0.1 / scale, false);
        const double size =
            std::min(0.5 * patch.rect.height_mm,
                     3 * 0.85 * patch.rect.width_mm / std::max(0.1, pen.width_of(patch.id, 3)));
        pen.centred({patch.rect.centre().x_mm, patch.rect.centre().y_mm + 0.36 * size}, patch.id, size);
    }
    pen.move_back();
}

void draw_mask_page(Pen& pen, const CardLayout& card, const PaperSize& paper) {
    const CardPoint centre{margin_mm + mask_mm / 2, paper.height_mm / 2};
    pen.colour(0);
    pen.disc(centre, mask_mm);
    pen.colour(1);
    pen.disc(centre, lens_mm);
    pen.colour(0.45);
    pen.ring(centre, lens_mm, 0.2, true);

    const double x = margin_mm + mask_mm + gap_mm, width = paper.width_mm - margin_mm - x;
    double y = margin_mm + 5;
    pen.colour(0);
    pen.bold(true);
    pen.text({x, y}, "Mask for the lens", 4);
    pen.bold(false);
    y += 8;
    for (const char* words : {"The finish on a rod is a mirror. Straight on it shows the camera itself, and "
                              "beside it whatever is bright in "
                              "the room. A black mask round the lens makes what it shows there black.",
                              "Cut out the disc and the hole, or trace them on to black card, which is "
                              "better. Hold the mask flat against "
                              "the phone, the hole over the lens. Nothing of it may show in the picture.",
                              "Widen the hole if your lens needs it."})
        y = pen.paragraph(x, y, width, words, 3.2) + 1.8;
    y += 4;
    pen.bold(true);
    pen.text({x, y}, "Key to the patches", 4);
    pen.bold(false);
    y += 4;
    draw_key(pen, card, {x, y, width, paper.height_mm - margin_mm - y});
}

Result<std::vector<Page>> pages_of(const CardLayout& card, const PaperSize& paper) {
    constexpr double ruler_room = 16;
    const double right = card_on_sheet.x_mm + card.width_mm, bottom = card_on_sheet.y_mm + card.height_mm;
    if (right > paper.width_mm - margin_mm || bottom + ruler_room > paper.height_mm - margin_mm / 2) {
        char what[160];
        std::snprintf(what, sizeof what,
                      "A card of %.6g x %.6g mm does not fit a sheet of %s paper (%.6g x %.6g mm are free).",
                      card.width_mm, card.height_mm, paper.name,
                      paper.width_mm - margin_mm - card_on_sheet.x_mm,
                      paper.height_mm - margin_mm / 2 - ruler_room - card_on_sheet.y_mm);
        return Error{Reason::bad_value, what, "size_mm",
                     "Make the card smaller, or have it printed elsewhere."};
    }
    const double words_x = right + gap_mm, words_width = paper.width_mm - margin_mm - words_x;
    const bool beside = words_width >= narrowest_words_mm;
    std::vector<Page> pages;
    pages.push_back([=](Pen& pen) {
        draw_title(pen, card.name);
        pen.move(card_on_sheet);
        draw_card(pen, card);
        pen.move_back();
        draw_ruler(pen, {card_on_sheet.x_mm, bottom + 8});
        if (beside)
            draw_instructions(pen, card, {words_x, margin_mm, words_width, paper.height_mm - 2 * margin_mm});
    });
    if (!beside)
        pages.push_back([=](Pen& pen) {
            draw_instructions(pen, card, {margin_mm, margin_mm, 150, paper.height_mm - 2 * margin_mm});
        });
    pages.push_back([=](Pen& pen) { draw_mask_page(pen, card, paper); });
    return pages;
}

void draw_sleeve(Pen& pen, double way_round_mm) {
    const CardRect sleeve{0, 0, stick_sleeve_mm, way_round_mm};
    pen.colour(0);
    pen.fill(CardRect{0, 0, stick_sleeve_mm / 2, way_round_mm});
    pen.colour(0.45);
    pen.outline(sleeve, 0.2, true);
    // The overlap is glued under, so words may stand on it.
    const double y = way_round_mm - 0.3 * stick_overlap_mm;
    pen.colour(1);
    pen.centred({stick_sleeve_mm / 4, y}, "glue under", 2.2);
    pen.colour(0.45);
    pen.centred({0.75 * stick_sleeve_mm, y}, "glue under", 2.2);
}

Result<std::vector<Page>> stick_pages(double dowel_mm, const PaperSize& paper) {
    if (!(dowel_mm >= least_dowel_mm && dowel_mm <= largest_dowel_mm))
        return Error{Reason::bad_value, "A test stick is 3 to 16 mm thick.", "--stick", "Give the diameter of a dowel in millimetres, for instance 8."};
    const double way_round = 3.14159265358979323846 * dowel_mm + stick_overlap_mm;
    return std::vector<Page>{[=](Pen& pen) {
        char title[80];
        std::snprintf(title, sizeof title, "Two-tone test stick, for a dowel of %.4g mm", dowel_mm);
        draw_title(pen, title);
        for (int i = 0; i < 2; ++i) {
            pen.move({first_sleeve_on_sheet.x_mm, first_sleeve_on_sheet.y_mm + i * (way_round + gap_mm)});
            draw_sleeve(pen, way_round);
            pen.move_back();
        }
        draw_ruler(pen, {first_sleeve_on_sheet.x_mm, first_sleeve_on_sheet.y_mm + 2 * (way_round + gap_mm) + 2});
        const double x = first_sleeve_on_sheet.x_mm + stick_sleeve_mm + 2 * gap_mm;
        const CardRect room{x, margin_mm, paper.width_mm - margin_mm - x, 0};
        const double y = draw_list(pen, room, "To make a stick of this sheet",
                                   {"Print at 100 % (\u201cactual size\u201d), best quality, on white matt paper, and measure the line: it must be 100 mm long.",
                                    "Cut a sleeve out along its dashed line. Lay its long side along the dowel, roll it round so that the edge with words lies under, and glue it.",
                                    "Brush on one thin coat of clear finish or varnish and let it cure, so that paper and ink do not soak and rub off. Gloves, fresh "
                                    "air, no flame; follow the maker\u2019s data sheet.",
                                    "Black and white paint on the dowel does as well: two coats each, with a sharp edge between them."});
        draw_list(pen, {room.x_mm, y, room.width_mm, 0}, "To read a thread\u2019s opacity",
                  {"Wind one layer of dry thread across the edge, as close as on the job, 15 to 20 mm over black and as much over white. Leave both ends bare.",
                   "Lay it in the card\u2019s opening and take a photo as of a rod: bare, thread, thread, bare.",
                   "Give it to bindhue coat opacity with the spool\u2019s code. Take the thread off again; the stick serves many times."});
    }};
}

// By the ending of the path. Of an SVG the first page takes the path itself.
Status write_pages(const std::vector<Page>& pages, const PaperSize& size, const std::string& title, const std::filesystem::path& path) {
    const std::string ending = path.extension().string();
    if (ending == ".pdf") {
        const Result<std::string> pdf = pdf_of(pages, size.width_mm, size.height_mm, title);
        return pdf ? save_file(path, *pdf, Previous::forgotten) : Status(pdf.error());
    }
    if (ending != ".svg")
        return Error{Reason::bad_value, "The sheet is drawn as PDF or SVG only.", path.string(),
                     "Let the name end in .pdf or .svg."};
    const Result<std::vector<std::string>> documents = svg_of(pages, size.width_mm, size.height_mm);
    if (!documents) return documents.error();
    for (std::size_t i = 0; i < documents->size(); ++i) {
        std::filesystem::path page = path;
        if (i > 0) page.replace_filename(path.stem().string() + "-" + std::to_string(i + 1) + ending);
        if (const Status saved = save_file(page, (*documents)[i], Previous::forgotten); !saved) return saved;
    }
    return ok();
}

}  // namespace

Result<std::string> card_sheet_pdf(const CardLayout& card, Paper paper) {
    const PaperSize size = size_of(paper);
    const Result<std::vector<Page>> pages = pages_of(card, size);
    if (!pages) return pages.error();
    return pdf_of(*pages, size.width_mm, size.height_mm, card.name);
}

Result<std::vector<std::string>> card_sheet_svg(const CardLayout& card, Paper paper) {
    const PaperSize size = size_of(paper);
    const Result<std::vector<Page>> pages = pages_of(card, size);
    if (!pages) return pages.error();
    return svg_of(*pages, size.width_mm, size.height_mm);
}

Status write_card_sheet(const CardLayout& card, const std::filesystem::path& path, Paper paper) {
    const Result<std::vector<Page>> pages = pages_of(card, size_of(paper));
    if (!pages) return pages.error();
    return write_pages(*pages, size_of(paper), card.name, path);
}

Result<std::string> stick_sheet_pdf(double dowel_mm, Paper paper) {
    const PaperSize size = size_of(paper);
    const Result<std::vector<Page>> pages = stick_pages(dowel_mm, size);
    if (!pages) return pages.error();
    return pdf_of(*pages, size.width_mm, size.height_mm, "Two-tone test stick");
}

Status write_stick_sheet(double dowel_mm, const std::filesystem::path& path, Paper paper) {
    const Result<std::vector<Page>> pages = stick_pages(dowel_mm, size_of(paper));
    if (!pages) return pages.error();
    return write_pages(*pages, size_of(paper), "Two-tone test stick", path);
}

}  // namespace bindhue::capture

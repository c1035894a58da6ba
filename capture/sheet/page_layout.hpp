// What our printed pages are laid out with, on paper and as one HTML file: text, tables and rods drawn to scale.
#pragma once

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "colour/adaptation.hpp"
#include "sheet/number.hpp"
#include "sheet/pen.hpp"
#include "sheet/swatch.hpp"
#include "shop/settings.hpp"

namespace bindhue::capture {

inline constexpr double margin_mm = 14, text_mm = 3.1, small_mm = 2.6, line_mm = 1.35;

struct PaperSize {
    double width_mm, height_mm;
};
PaperSize upright(Paper paper);

// Lengths and thread in the shop's units. An inch is 25.4 mm and a yard 0.9144 m exactly (international yard and pound, 1959).
class Measures {
  public:
    explicit Measures(Units units) : inches_(units == Units::inches) {}

    const char* unit() const { return inches_ ? "inches" : "mm"; }
    std::string length(double mm) const { return inches_ ? number("%.2f", mm / 25.4) : number("%.1f", mm); }
    std::string thickness(double mm) const { return inches_ ? number("%.4f in", mm / 25.4) : number("%.2f mm", mm); }
    const char* thread_unit() const { return inches_ ? "yd" : "m"; }
    std::string thread(double metres) const { return number("%.1f", inches_ ? metres / 0.9144 : metres); }
    std::string thread_said(double metres) const { return thread(metres) + " " + thread_unit(); }

  private:
    bool inches_;
};

// A row of a table, its cells in order.
struct SheetRow {
    std::vector<std::string> cells;
};

// A word longer than a line would run off the page: it is cut, between characters of UTF-8, into parts that are shorter.
std::string broken(const std::string& text, double width_mm, double size);

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
    // Two colours side by side without a gap, one of which may not be known, with a line of words above and some beside. `ends`: what each of the two lies
    // beside, drawn narrow.
    void pair(const std::string& over, const std::optional<Lab<D50>>& left, const std::optional<Lab<D50>>& right, const std::vector<std::string>& beside,
              const std::optional<std::pair<Lab<D50>, Lab<D50>>>& ends = {}) {
        constexpr double wide = 22, high = 13, narrow = 3;
        const double inset = ends ? narrow : 0, indent = 2 * wide + 2 * inset + 5, row = line_mm * small_mm;
        std::vector<std::string> texts;
        double height = 0;
        for (const std::string& said : beside) {
            texts.push_back(broken(said, width() - indent, small_mm));
            height += row * static_cast<double>(lines(texts.back(), width() - indent, small_mm));
        }
        height = std::max(height, high + 5) + 4;
        need(height + 6);
        words(over);
        put([=, this, y = y_](Pen& pen, const std::string&) {
            double x = margin_mm + inset;
            if (ends)
                for (const auto& [colour, at] : {std::pair{ends->first, margin_mm}, {ends->second, x + 2 * wide}}) {
                    pen.colour(to_display(colour));
                    pen.fill({at, y - 0.5, narrow, high - 1});
                }
            for (const auto& [colour, name] : {std::pair{left, "old"}, {right, "new"}}) {
                const CardRect box{x, y - 1, wide, high};
                if (colour) {
                    pen.colour(to_display(*colour));
                    pen.fill(box);
                }
                pen.colour(0.2);
                if (!colour) pen.outline(box, 0.15, true);
                pen.colour(0);
                pen.text({x, y + high + 2.4}, colour ? name : std::string(name) + ": not known", small_mm);
                x += wide;
            }
            double at = y + 1.5;
            for (const std::string& said : texts) at = pen.paragraph(margin_mm + indent, at, size_.width_mm - 2 * margin_mm - indent, said, small_mm);
        }, "");
        y_ += height;
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

// For HTML: a text as text; how a file of ours begins, its style in it; a strip.
std::string escaped(const std::string& text);
std::string html_opening(const std::string& title);
std::string svg_of_strip(const Strip& strip, const std::string& name);

// .pdf or .html by the ending of the path. Errors: bad_value (another ending), those of `pdf`; storage.
Status write_page(const std::filesystem::path& path, Paper paper, const std::function<std::string()>& html,
                  const std::function<Result<std::string>(Paper)>& pdf);

}  // namespace bindhue::capture

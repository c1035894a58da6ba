#include "sheet/coat_picture.hpp"

#include <algorithm>
#include <cmath>
#include <map>

#include "colour/coated_blank.hpp"
#include "sheet/drawing.hpp"

namespace bindhue::capture {
namespace {

// A square plot of which the middle is a* = b* = 0 and the edge the reach.
struct Plane {
    double x, y, side, reach;

    Point at(const Lab<D50>& c) const {
        return {x + side * (0.5 + 0.5 * c.a / reach), y + side * (0.5 - 0.5 * c.b / reach)};
    }
    double per_unit() const { return 0.5 * side / reach; }
};
// Lightness upwards, over something from left to right.
struct Lightness {
    double x, y, width, height;

    double y_of(double L) const { return y + height * (1 - std::clamp(L, 0.0, 100.0) / 100); }
};

double reach_of(std::span<const Lab<D50>> colours) {
    double reach = 20;
    for (const Lab<D50>& c : colours) reach = std::max({reach, std::abs(c.a), std::abs(c.b)});
    return 10 * std::ceil(1.1 * reach / 10);
}

void draw(Drawing& pen, const Plane& plane) {
    pen.grey(0.82);
    pen.rectangle(plane.x, plane.y, plane.side, plane.side);
    const Point middle = plane.at({50, 0, 0});
    pen.grey(0.6);
    pen.line({plane.x, middle.y}, {plane.x + plane.side, middle.y}, 1);
    pen.line({middle.x, plane.y}, {middle.x, plane.y + plane.side}, 1);
    for (double chroma = 20; chroma < plane.reach; chroma += 20) pen.ring(middle, chroma * plane.per_unit(), 0.6);
    pen.grey(0.25);
    pen.beside({plane.x + plane.side - 4, middle.y - 4}, "a* red", 12, 1);
    pen.beside({plane.x + 4, middle.y - 4}, "green", 12, 0);
    pen.text(middle.x + 5, plane.y + 14, "b* yellow", 12);
    pen.text(middle.x + 5, plane.y + plane.side - 5, "blue", 12);
    pen.beside({plane.x + plane.side, plane.y + plane.side + 13}, formatted("rings every 20 of C*, edge at %.0f", plane.reach), 11, 1);
}

void draw(Drawing& pen, const Lightness& plot) {
    pen.grey(0.82);
    pen.rectangle(plot.x, plot.y, plot.width, plot.height);
    for (int L = 0; L <= 100; L += 20) {
        pen.grey(0.6);
        pen.line({plot.x, plot.y_of(L)}, {plot.x + plot.width, plot.y_of(L)}, 0.6);
        pen.grey(0.25);
        pen.beside({plot.x - 5, plot.y_of(L) + 4}, formatted("%d", L), 12, 1);
    }
    pen.text(plot.x + 5, plot.y + 14, "L*", 12);
}

std::string words_of(const Lab<D50>& c) { return formatted("L* a* b*  %.1f  %.1f  %.1f", c.L, c.a, c.b); }

std::string interval(const Estimate& e) { return formatted("%+.1f  (%.1f to %.1f)", e.value, e.low, e.high); }

void draw_check(Drawing& pen, const TestWrap& wrap, const CoatCheck& check) {
    pen.grey(0.72);
    pen.all();
    pen.grey(0);
    pen.text(40, 50, formatted("%s, %s: %s", std::string(name(wrap.material)).c_str(), std::string(name(wrap.schedule)).c_str(),
                               std::string(name(check.verdict)).c_str()), 26, true);
    pen.text(40, 80, formatted("%.1f CIEDE2000 from what was expected (95 %%: %.1f to %.1f)%s%s", check.off.value, check.off.low,
                               check.off.high, check.leans.empty() ? "" : "; the finished wrap is ", check.leans.c_str()), 16);
    struct Swatch {
        const char* words;
        Lab<D50> lab;
        double x;
    };
    // Round each what the eye sees beside it: the ground bare, and under the same clear coat.
    const Result<Reading> coated = coated_blank(wrap.ground);
    pen.colour(wrap.ground.lab);
    pen.rectangle(20, 100, 240, 170);
    pen.colour(coated ? coated->lab : wrap.ground.lab);
    pen.rectangle(260, 100, 430, 170);
    // Finished and expected touch, so that the eye sees them apart if it can.
    for (const Swatch& s : {Swatch{"dry", wrap.dry.lab, 40}, Swatch{"finished", wrap.finished.lab, 270},
                            Swatch{"expected", check.expected_look.lab, 470}}) {
        pen.colour(s.lab);
        pen.rectangle(s.x, 110, 200, 150);
        pen.grey(0);
        pen.text(s.x, 288, s.words, 16, true);
        pen.text(s.x, 307, words_of(s.lab), 13);
    }
    struct Row {
        const char* words;
        std::string measured, expected;
    };
    const auto hue = [](const ColourShift& s) { return s.h ? interval(*s.h) : std::string("too grey to say"); };
    double y = 350;
    for (const Row& r : {Row{"", "shift, measured (95 %)", "shift, expected (95 %)"},
                         Row{"L*", interval(check.measured.L), interval(check.expected.L)},
                         Row{"C*", interval(check.measured.C), interval(check.expected.C)},
                         Row{"h, degrees", hue(check.measured), hue(check.expected)},
                         Row{"CIEDE2000", interval(check.measured.delta_e), interval(check.expected.delta_e)}}) {
        pen.text(40, y, r.words, 15, true);
        pen.text(160, y, r.measured, 15, *r.words == 0);
        pen.text(430, y, r.expected, 15, *r.words == 0);
        y += 28;
    }
    pen.text(40, y + 14, check.coat_tests > 0 ? formatted("Expected by %zu coat tests of this material and schedule.", check.coat_tests)
                                              : std::string("Expected from optics and tests of other kinds: no coat test of this material and schedule yet."), 14);

    const std::array<Lab<D50>, 3> all{wrap.dry.lab, wrap.finished.lab, check.expected_look.lab};
    const Plane plane{720, 110, 400, reach_of(all)};
    draw(pen, plane);
    const Lightness plot{1190, 110, 170, 400};
    draw(pen, plot);
    const Matrix3& c = check.expected_look.covariance;
    constexpr double two_dimensions_95 = 5.991;  // chi squared
    const double scale = two_dimensions_95 * plane.per_unit() * plane.per_unit();
    pen.grey(0.35);
    pen.ellipse(plane.at(check.expected_look.lab), scale * c(1, 1), -scale * c(1, 2), scale * c(2, 2), 1.5);
    pen.arrow(plane.at(wrap.dry.lab), plane.at(check.expected_look.lab), 2);
    pen.arrow({plot.x + 120, plot.y_of(wrap.dry.lab.L)}, {plot.x + 120, plot.y_of(check.expected_look.lab.L)}, 2);
    const double half = 1.96 * std::sqrt(std::max(c(0, 0), 0.0));
    for (const double L : {check.expected_look.lab.L - half, check.expected_look.lab.L + half})
        pen.line({plot.x + 108, plot.y_of(L)}, {plot.x + 132, plot.y_of(L)}, 1.5);
    pen.centred({plot.x + 120, plot.y + plot.height + 14}, "expected", 13);
    pen.grey(0);
    pen.arrow(plane.at(wrap.dry.lab), plane.at(wrap.finished.lab), 4);
    pen.arrow({plot.x + 50, plot.y_of(wrap.dry.lab.L)}, {plot.x + 50, plot.y_of(wrap.finished.lab.L)}, 4);
    pen.centred({plot.x + 50, plot.y + plot.height + 14}, "measured", 13);
    for (const Lab<D50>& lab : {wrap.dry.lab, wrap.finished.lab}) {
        pen.grey(0);
        pen.disc(plane.at(lab), 8);
        pen.colour(lab);
        pen.disc(plane.at(lab), 6.5);
    }
    pen.grey(0);
    pen.text(plane.x, plane.y + plane.side + 38, "thick: from dry to finished, as read; thin: as expected, with its 95 % region", 13);
}

struct Group {
    Material material;
    Schedule schedule;
    std::vector<std::size_t> tests;
};

constexpr double row_height = 330, top = 90;

void draw_model(Drawing& pen, std::span<const CoatTest> tests, std::span<const std::size_t> outliers, const std::vector<Group>& groups) {
    pen.grey(0.72);
    pen.all();
    pen.grey(0);
    pen.text(40, 42, "What coating did: from dry to finished", 24, true);
    pen.text(40, 68, "Each arrow is a coat test, its head in the colour of the finished wrap. A ring: contradicted by the others.", 15);
    std::vector<Lab<D50>> all;
    for (const CoatTest& t : tests) all.push_back(t.dry), all.push_back(t.finished);
    const double reach = reach_of(all);
    for (std::size_t g = 0; g < groups.size(); ++g) {
        const Group& group = groups[g];
        const double y = top + row_height * static_cast<double>(g);
        pen.grey(0);
        pen.text(40, y + 30, std::string(name(group.material)), 18, true);
        pen.text(40, y + 54, std::string(name(group.schedule)), 16);
        pen.text(40, y + 78, formatted(group.tests.size() == 1 ? "%zu test" : "%zu tests", group.tests.size()), 16);
        const Plane plane{230, y + 10, 300, reach};
        draw(pen, plane);
        const Lightness plot{610, y + 10, 300, 300};
        draw(pen, plot);
        pen.grey(0.25);
        pen.beside({plot.x + plot.width, plot.y + plot.height + 13}, "dry L*, 0 to 100", 12, 1);
        for (const std::size_t i : group.tests) {
            const CoatTest& t = tests[i];
            const double x = plot.x + plot.width * std::clamp(t.dry.L, 0.0, 100.0) / 100;
            const Point high{x, plot.y_of(t.dry.L)}, low{x, plot.y_of(t.finished.L)};
            pen.grey(t.finished.L < 50 ? 0.1 : 0.3);
            pen.arrow(plane.at(t.dry), plane.at(t.finished), 1.6);
            pen.arrow(high, low, 1.6);
            for (const Point& head : {plane.at(t.finished), low}) {
                pen.grey(0);
                pen.disc(head, 4.6);
                pen.colour(t.finished);
                pen.disc(head, 3.8);
                pen.grey(0);
                if (std::find(outliers.begin(), outliers.end(), i) != outliers.end()) pen.ring(head, 10, 2.5);
            }
        }
    }
}

}  // namespace

Status write_coat_check_picture(const TestWrap& wrap, const CoatCheck& check, const std::filesystem::path& path) {
    return write_drawing(path, 1400, 570, [&](Drawing& pen) { draw_check(pen, wrap, check); });
}

Status write_coat_model_picture(std::span<const CoatTest> tests, std::span<const std::size_t> outliers, const std::filesystem::path& path) {
    std::vector<Group> groups;
    for (const Material material : all_materials)
        for (const Schedule schedule : all_schedules) {
            Group group{material, schedule, {}};
            for (std::size_t i = 0; i < tests.size(); ++i)
                if (tests[i].material == material && tests[i].schedule == schedule) group.tests.push_back(i);
            if (!group.tests.empty()) groups.push_back(std::move(group));
        }
    return write_drawing(path, 960, top + row_height * static_cast<double>(groups.size()),
                         [&](Drawing& pen) { draw_model(pen, tests, outliers, groups); });
}

}  // namespace bindhue::capture

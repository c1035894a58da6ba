#include "check.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <tuple>
#include <vector>

#include "fibres.hpp"
#include "thread.hpp"
#include "trace.hpp"

namespace bindhue::render {
namespace {

bool finding(const char* what, double value, double low, double high) {
    const bool good = value >= low && value <= high;
    std::printf("%-4s %-72s %7.2f  (%g to %g)\n", good ? "ok" : "BAD", what, value, low, high);
    return good;
}

// A lamp far off at 45 degrees along the rod (no mirror image on the crest), a black mask round the lens, no room.
Scene plain_scene(bool coated) {
    Scene s;
    s.seed = 3;
    s.output.width = 900, s.output.height = 620;
    s.camera.distance_mm = 400, s.camera.view_width_mm = 180;
    s.camera.vignetting = 0, s.camera.mask_mm = 200;
    Light lamp;
    lamp.spectrum = {{"D50", 1.0}};
    lamp.position = {-9920, 55, 10000};
    lamp.width_mm = lamp.height_mm = 600;
    lamp.room = 0;
    s.lights = {lamp};
    s.rod.diameter_left_mm = s.rod.diameter_right_mm = 10;
    s.rod.blank = "grey";
    s.rod.gaps = 0;
    s.bench = "slate";
    double at = 5;
    for (const char* code : {"R1-12", "R1-23", "R4-04", "R1-38", "R7-03", "R6-07"}) {
        Band b;
        b.start_mm = at, b.length_mm = 12;
        b.spool = code, b.pitch_mm = spool_coded(code).size_mm;
        b.schedule = coated ? Schedule::finish : Schedule::preserver_finish;
        s.bands.push_back(b);
        at += 18;
    }
    return s;
}

// The largest distance in L*, a* or b* between a band's truth and its crest, read against the white patches.
double crest_against_truth(const CardPrint& card, bool coated) {
    const Scene scene = plain_scene(coated);
    const Traced traced = trace(scene, card, {"observer", standard_observer()});
    const double px_per_mm = scene.output.width / scene.camera.view_width_mm;
    const auto mean = [&](double x, double y, double w, double h) {
        std::array<double, 3> sum{};
        double n = 0;
        const auto px = [&](double mm) {
            return static_cast<int>(0.5 * scene.output.width + (mm - 80) * px_per_mm);
        };
        const auto py = [&](double mm) {
            return static_cast<int>(0.5 * scene.output.height + (mm - 55) * px_per_mm);
        };
        for (int j = py(y); j <= py(y + h); ++j)
            for (int i = px(x); i <= px(x + w); ++i, ++n)
                for (std::size_t c = 0; c < 3; ++c) sum[c] += static_cast<double>(traced.picture.at(i, j)[c]);
        for (double& v : sum) v /= n;
        return sum;
    };
    // The paper on both sides of the opening, and what it truly is.
    std::array<double, 3> white{};
    for (const double y : {36.2, 72.8})
        for (double x = 25; x < 135; x += 10) {
            const auto m = mean(x, y, 0.6, 0.4);
            for (std::size_t c = 0; c < 3; ++c) white[c] += m[c] / 22;
        }
    const auto paper = xyz_d50(card.prints.front());
    double worst = 0;
    for (const auto& band : traced.truth.at("bands")) {
        const double start = band.at("start_mm"), length = band.at("length_mm");
        const auto m = mean(20 + start + 0.25 * length, 54.75, 0.5 * length, 0.5);
        const Lab lab =
            lab_of_xyz({m[0] / white[0] * paper[0], m[1] / white[1] * paper[1], m[2] / white[2] * paper[2]});
        for (std::size_t k = 0; k < 3; ++k)
            worst = std::max(worst, std::abs(lab[k] - band.at("lab").at(k).get<double>()));
    }
    return worst;
}

// How quickly a spectrum turns: the second difference of ln R, 410 to 700 nm by 10 nm, root mean square, in hundredths.
double roughness(const Spectrum& reflectance) {
    const auto log_at = [&](std::size_t nm) { return std::log(std::max(0.004, reflectance[(nm - 380) / 5])); };
    double squares = 0;
    int n = 0;
    for (std::size_t nm = 420; nm <= 690; nm += 10, ++n) squares += std::pow(log_at(nm - 10) - 2 * log_at(nm) + log_at(nm + 10), 2);
    return 100 * std::sqrt(squares / n);
}

}  // namespace

bool check(const CardPrint& card) {
    bool good =
        finding("crest under finish: largest error in L*, a* or b*", crest_against_truth(card, true), 0, 0.4);
    good &= finding("crest under preserver: the same", crest_against_truth(card, false), 0, 0.4);

    // The 21 measured textiles among the colour evaluation samples of IES TM-30-15: 3.7.
    std::vector<double> rough;
    for (const Spool& s : demo_spools())
        if (s.material != Material::metallic) rough.push_back(roughness(dry_opaque(s, dyed(s))));
    std::nth_element(rough.begin(), rough.begin() + static_cast<std::ptrdiff_t>(rough.size() / 2), rough.end());
    good &= finding("dyes turn as measured textiles do: second difference of ln R, hundredths", rough[rough.size() / 2], 3.3, 4.2);

    // trade: what each coat does to a middling red on a dark and on a white ground, in L*.
    const auto colour = [](const Spool& s, Schedule schedule, const char* ground) {
        return lab_d50(wrapped(s, dyed(s), schedule, ground_named(ground), constant(0)))[0];
    };
    struct Promise {
        const char *code, *what;
        double darker_low, darker_high, shows_low, shows_high, preserved_low, preserved_high;
    };
    for (const Promise& p : {Promise{"R1-16", "nylon", 12, 40, 5, 40, -1, 8},
                             {"R7-04", "silk", 20, 50, 10, 60, -1, 10},
                             {"R4-07", "no-preserver nylon", 0, 10, 0, 5, -1, 5},
                             {"R6-03", "polyester", 0, 15, 0, 8, -1, 6},
                             {"R8-02", "foil", -1, 2, 0, 1, -1, 2}}) {
        const Spool& s = spool_coded(p.code);
        const double dry = colour(s, Schedule::none, "graphite"),
                     wet = colour(s, Schedule::finish, "graphite");
        std::printf("     %s (%s)\n", p.what, s.name.c_str());
        good &= finding("finish on graphite darkens by", dry - wet, p.darker_low, p.darker_high);
        good &= finding("under finish, white ground in place of graphite lightens by",
                        colour(s, Schedule::finish, "white") - wet, p.shows_low, p.shows_high);
        good &= finding("preserver + finish on graphite darkens by",
                        dry - colour(s, Schedule::preserver_finish, "graphite"), p.preserved_low,
                        p.preserved_high);
    }

    std::puts("     rays through bundles of fibres");
    const FibreThread clear(spool_coded("R1-16"), 1);
    // Where nothing absorbs all comes back; straight fibres in air send more of it sideways than toward the eye.
    for (const Schedule schedule : {Schedule::none, Schedule::finish, Schedule::preserver_finish})
        good &= finding("where nothing absorbs, seen as white by", clear.wrapped(constant(0), schedule, constant(1), constant(0))[40],
                        schedule == Schedule::finish ? 0.93 : 0.8, 1.07);
    for (const auto& [code, low, high] : {std::tuple{"R1-16", 12.0, 40.0}, {"R4-07", 0.0, 12.0}}) {
        const Spool& s = spool_coded(code);
        const FibreThread thread(s, 1);
        const Spectrum dye = dyed(s, [&](const Spectrum& absorption) { return thread.dry_opaque(absorption); });
        const auto lightness = [&](Schedule schedule) {
            return lab_d50(thread.wrapped(dye, schedule, ground_named("graphite"), constant(0)))[0];
        };
        good &= finding("finish on graphite darkens by", lightness(Schedule::none) - lightness(Schedule::finish), low, high);
        good &= finding("preserver + finish on graphite darkens by",
                        lightness(Schedule::none) - lightness(Schedule::preserver_finish), -4, 4);
    }
    return good;
}

}  // namespace bindhue::render

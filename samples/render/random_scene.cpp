#include "random_scene.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <optional>
#include <random>

#include "fibres.hpp"
#include "thread.hpp"

namespace bindhue::render {
namespace {

using nlohmann::json;

// The standard's distributions differ between libraries; its generator does not.
class Dice {
  public:
    explicit Dice(std::uint64_t seed) : generator_(seed * 0x9E3779B97F4A7C15ull + 1) {}
    double unit() { return static_cast<double>(generator_() >> 11) * 0x1.0p-53; }
    double between(double low, double high) { return low + (high - low) * unit(); }
    bool chance(double p) { return unit() < p; }
    std::size_t below(std::size_t n) {
        return std::min(n - 1, static_cast<std::size_t>(unit() * static_cast<double>(n)));
    }
    template <class T>
    const T& of(const std::vector<T>& v) {
        return v[below(v.size())];
    }

  private:
    std::mt19937_64 generator_;
};

double to(double v, double step) { return std::round(v / step) * step; }

json random_light(Dice& dice, const std::string& spectrum, double strength, bool any) {
    const bool window = dice.chance(0.5);
    const double turn = dice.between(0, 6.2832), lean = dice.between(0.5, 1.05);
    const double far = window ? dice.between(900, 2500) : dice.between(any ? 350 : 500, 1200);
    json light{{"shape", window ? "window" : "disc"},
               {"spectrum", spectrum},
               {"position_mm",
                {to(80 + far * std::sin(lean) * std::cos(turn), 1),
                 to(55 + far * std::sin(lean) * std::sin(turn), 1), to(far * std::cos(lean), 1)}},
               {"width_mm", to(window ? dice.between(500, 1400) : dice.between(60, 300), 1)},
               {"strength", strength},
               {"room", to(dice.between(0.12, 0.5), 0.01)}};
    if (window) {
        light["height_mm"] = to(dice.between(600, 1500), 1);
        light["bars"] = {static_cast<int>(dice.below(3)), static_cast<int>(dice.below(4))};
    }
    return light;
}

json random_camera(Dice& dice, const std::string& sensor) {
    json camera{{"sensor", sensor},
                {"distance_mm", to(dice.between(250, 400), 1)},
                {"view_width_mm", to(dice.between(186, 225), 0.1)},
                {"centre_mm", {to(dice.between(76, 84), 0.1), to(dice.between(51, 59), 0.1)}},
                {"tilt_deg", {to(dice.between(-14, 14), 0.1), to(dice.between(-14, 14), 0.1)}},
                {"roll_deg", to(dice.between(-6, 6), 0.1)},
                {"distortion", to(dice.between(-0.03, 0.03), 0.001)},
                {"vignetting", to(dice.between(0.05, 0.35), 0.01)},
                {"defocus_px", to(dice.between(0.5, 1.6), 0.01)},
                {"exposure", to(dice.between(0.6, 0.94), 0.01)},
                {"white_error", 0.08},
                {"full_well", to(dice.between(4000, 30000), 100)},
                {"read_noise", to(dice.between(2, 8), 0.1)},
                {"veil", to(dice.between(0.001, 0.012), 0.0001)},
                {"halo", to(dice.between(0.002, 0.012), 0.0001)},
                {"mask_mm", dice.chance(0.3) ? to(dice.between(60, 120), 1) : 0.0},
                {"upright", dice.chance(0.3)}};
    // Now and then the card lies upside down.
    if (dice.chance(0.1)) camera["roll_deg"] = to(180 - dice.between(0, 10), 0.1);
    return camera;
}

double apart(const Lab& a, const Lab& b) { return std::hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]); }

}  // namespace

json random_scene(const RandomWish& wish, const std::vector<std::string>& sensors) {
    // Two dice, so that the same rod can be photographed again under another light, and another rod under the same.
    Dice rod_dice(2 * wish.seed), shot_dice(2 * wish.shot + 1);
    // Nobody measured foil: trims of it stay the rack's.
    std::vector<Spool> rack = demo_spools();
    if (!measured_spools().empty()) {
        std::erase_if(rack, [](const Spool& s) { return s.material != Material::metallic; });
        rack.insert(rack.end(), measured_spools().begin(), measured_spools().end());
    }
    json s{{"format", "bindhue-scene"},
           {"version", 1},
           {"title", "random " + std::to_string(wish.seed) + ", shot " + std::to_string(wish.shot)},
           {"seed", (31 * wish.seed + wish.shot) % 2147483647}};

    const std::vector<std::string> fair{"D50", "D65", "LED-B3"};
    const bool any_light = wish.lights != "fair";
    const std::string drawn_light = shot_dice.of(any_light ? light_names() : fair);
    const bool named_light = wish.lights != "fair" && wish.lights != "any";
    const std::string main = named_light ? wish.lights : drawn_light;
    json lights = json::array({random_light(shot_dice, main, 1.0, any_light)});
    const double second = shot_dice.unit();
    if (second < 0.35) {
        lights.push_back(random_light(shot_dice, main, to(shot_dice.between(0.2, 0.9), 0.01), any_light));
    } else if (wish.lights == "any" && second < 0.5) {
        lights.push_back(random_light(shot_dice, shot_dice.of(light_names()),
                                      to(shot_dice.between(0.1, 0.5), 0.01), any_light));
    }
    s["lights"] = lights;
    s["camera"] = random_camera(shot_dice, shot_dice.of(sensors));
    s["bench"] = shot_dice.of(std::vector<std::string>{"wood", "cloth", "slate"});
    s["output"] = {{"kind", wish.phone ? "phone" : "linear"}, {"width", 1800}, {"height", 1240}};
    if (wish.phone) {
        s["output"]["quality"] = static_cast<int>(shot_dice.between(80, 97));
        s["output"]["saturation"] = to(shot_dice.between(1.0, 1.3), 0.01);
        s["output"]["contrast"] = to(shot_dice.between(0.1, 0.6), 0.01);
        s["output"]["sharpening"] = to(shot_dice.between(0, 1), 0.01);
        s["output"]["orientation"] = std::vector<int>{1, 1, 3, 6, 8}[shot_dice.below(5)];
    } else {
        s["output"]["bits"] = 14;
    }

    const bool spools = wish.what == RandomWish::What::spools;
    const double thick = spools ? rod_dice.between(9, 16) : rod_dice.between(4, 15);
    const double taper = spools ? 0 : rod_dice.between(0, 0.12);
    const double middle = rod_dice.between(51, 59), skew = rod_dice.between(-1.5, 1.5);
    const std::string blank = rod_dice.of(
        std::vector<std::string>{"graphite", "graphite", "grey", "cane", "olive", "maroon", "navy", "cream"});
    s["rod"] = {{"diameter_mm", {to(thick * (1 + taper / 2), 0.01), to(thick * (1 - taper / 2), 0.01)}},
                {"y_mm", {to(middle - skew, 0.01), to(middle + skew, 0.01)}},
                {"rise_mm", to(rod_dice.between(-0.8, 0.5), 0.01)},
                {"blank", blank},
                {"gaps", spools ? 0.0 : to(rod_dice.between(0, 0.03), 0.001)},
                {"amber", rod_dice.chance(0.3) ? to(rod_dice.between(0, 0.15), 0.001) : 0.0}};
    s["bench_depth_mm"] = to(thick * 1.1 + shot_dice.between(3, 40), 0.1);

    json bands = json::array();
    double at = rod_dice.between(3, 14);
    const Lab blank_lab = lab_d50(ground_named(blank));
    Lab beside = blank_lab;
    // Nobody could find the edge of a wrap that looks like its neighbour, so none is drawn.
    const auto add_band = [&](bool metallic, double length, const char* role, const std::string& schedule,
                              const std::string& ground) {
        length = to(length, 0.01);
        if (at + length > 117) return false;
        for (int attempt = 0; attempt < 200; ++attempt) {
            const Spool& spool = rack[rod_dice.below(rack.size())];
            if ((spool.material == Material::metallic) != metallic) continue;
            if (spool.size_mm > 0.2 && thick < 6) continue;
            const Spectrum dye = dyed(spool);
            const Spectrum under = ground_named(ground == "white" ? "white" : blank);
            const Lab lab =
                lab_d50(ground == "deep" ? dry_opaque(spool, dye)
                                         : wrapped(spool, dye, schedule_named(schedule), under, constant(0)));
            if (apart(lab, beside) < 8 || apart(lab, blank_lab) < 8) continue;
            bands.push_back({{"start_mm", to(at, 0.01)},
                             {"length_mm", length},
                             {"role", role},
                             {"spool", spool.code},
                             {"schedule", schedule},
                             {"ground", ground},
                             {"pitch_mm", to(spool.size_mm * rod_dice.between(0.92, 1.12), 0.001)}});
            at = to(at, 0.01) + length;
            beside = lab;
            return true;
        }
        return false;
    };
    if (wish.what == RandomWish::What::stick) {
        const bool black_first = rod_dice.chance(0.5);
        const double boundary = to(rod_dice.between(54, 66), 0.1), sleeve = 55;
        s["rod"]["paints"] = {{{"start_mm", boundary - sleeve}, {"length_mm", sleeve}, {"ground", black_first ? "black" : "white"}},
                              {{"start_mm", boundary}, {"length_mm", sleeve}, {"ground", black_first ? "white" : "black"}}};
        s["rod"]["amber"] = 0.0;
        for (;;) {
            const Spool& spool = rack[rod_dice.below(rack.size())];
            if (spool.material == Material::metallic || (spool.size_mm > 0.2 && thick < 6)) continue;
            const double half = to(rod_dice.between(9, 16), 0.1), pitch = to(spool.size_mm * rod_dice.between(0.97, 1.06), 0.001);
            for (const double from : {boundary - half, boundary})
                bands.push_back({{"start_mm", from}, {"length_mm", half}, {"role", "wrap"}, {"spool", spool.code}, {"schedule", "none"}, {"ground", "blank"}, {"pitch_mm", pitch}});
            break;
        }
        s["bands"] = bands;
        return s;
    }
    if (wish.what == RandomWish::What::aged) {
        s["rod"]["amber"] = to(rod_dice.between(0.15, 0.9), 0.001);
        s["rod"]["paints"] = {{{"start_mm", 6.0}, {"length_mm", 12.0}, {"ground", "white"}},
                              {{"start_mm", 18.0}, {"length_mm", 12.0}, {"ground", "white"}, {"finished", true}}};
        at = 38;
        for (int w = 0; w < 2; ++w) {
            beside = blank_lab;
            if (!add_band(false, rod_dice.between(12, 24), "wrap", rod_dice.chance(0.6) ? "finish" : "preserver+finish", "blank")) break;
            at += rod_dice.between(5, 12);
        }
        s["bands"] = bands;
        return s;
    }
    if (spools) {
        while (add_band(false, rod_dice.between(10, 16), "wrap", "none", "deep")) {
            at += rod_dice.between(3, 6);
            beside = blank_lab;
        }
        s["bands"] = bands;
        return s;
    }
    const std::size_t wraps = 1 + rod_dice.below(4);
    for (std::size_t w = 0; w < wraps; ++w) {
        const double k = rod_dice.unit();
        const std::string schedule = k < 0.6 ? "finish" : k < 0.85 ? "preserver+finish" : "none";
        const std::string ground = rod_dice.chance(0.15) ? "white" : "blank";
        beside = blank_lab;
        if (rod_dice.chance(0.4))
            add_band(rod_dice.chance(0.25), rod_dice.between(1.0, 3), "trim", schedule, ground);
        if (!add_band(false, rod_dice.between(6, 32), "wrap", schedule, ground)) break;
        if (rod_dice.chance(0.4))
            add_band(rod_dice.chance(0.25), rod_dice.between(1.0, 3), "trim", schedule, ground);
        at += rod_dice.between(3, 15);
    }
    s["bands"] = bands;
    return s;
}

namespace {

double normal(Dice& dice) {  // Box and Muller
    return std::sqrt(-2 * std::log(1 - dice.unit())) * std::cos(6.283185307179586 * dice.unit());
}

void add_numbers(std::string& table, const std::vector<Lab>& labs, double noise, Dice& dice) {
    for (const Lab& lab : labs)
        for (const double v : lab) {
            char text[64];
            std::snprintf(text, sizeof text, ",%.3f", v + (noise > 0 ? noise * normal(dice) : 0));
            table += text;
        }
}

Lab any_colour(Dice& dice) {
    const double lightness = dice.between(22, 90), hue = dice.between(0, 6.2832),
                 chroma = dice.between(0, 1) * std::min(65.0, 1.3 * std::min(lightness - 15, 105 - lightness));
    return {lightness, chroma * std::cos(hue), chroma * std::sin(hue)};
}

}  // namespace

RandomCoatTests random_coat_tests(std::uint64_t seed, int count, double noise, CoatJudge judge) {
    Dice dice(seed * 2 + 77777), opacity_dice(seed * 2 + 88889);
    std::string opacity = "black_L,black_a,black_b,white_L,white_a,white_b,on_black_L,on_black_a,on_black_b,on_white_L,on_white_a,on_white_b\n";
    const Spectrum black = constant(0.03), white = ground_named("white");
    const std::vector<Material> materials{Material::nylon, Material::nylon, Material::ncp_nylon,
                                          Material::polyester, Material::silk};
    const std::vector<std::string> grounds{"graphite", "grey", "cane",  "olive",
                                           "maroon",   "navy", "cream", "white"};
    std::string table =
        "material,size_mm,schedule,ground_L,ground_a,ground_b,dry_L,dry_a,dry_b,finished_L,finished_a,"
        "finished_b\n";
    for (int i = 0; i < count;) {
        Spool thread;
        thread.code = "test " + std::to_string(seed) + "/" + std::to_string(i);
        thread.material = dice.of(materials);
        thread.size_mm =
            thread.material == Material::silk ? 0.11 : dice.of(std::vector<double>{0.15, 0.15, 0.22, 0.26});
        thread.aim = any_colour(dice);
        std::optional<FibreThread> fibres;
        if (judge == CoatJudge::fibres) fibres.emplace(thread, 3 * seed + dice.below(3));
        const DryLook on_spool = [&](const Spectrum& absorption) {
            return fibres ? fibres->dry_opaque(absorption) : dry_opaque(thread, absorption);
        };
        const Spectrum dye = dyed(thread, on_spool);
        const Lab dry = lab_d50(on_spool(dye));
        if (apart(dry, thread.aim) > 3) continue;  // no dye reaches it
        const Spectrum ground = ground_named(dice.of(grounds));
        const Schedule schedule = dice.chance(0.5) ? Schedule::finish : Schedule::preserver_finish;
        const Lab finished = lab_d50(fibres ? fibres->wrapped(dye, schedule, ground, constant(0))
                                            : wrapped(thread, dye, schedule, ground, constant(0)));
        char text[64];
        std::snprintf(text, sizeof text, "%s,%.2f,%s", name(thread.material), thread.size_mm, name(schedule));
        table += text;
        add_numbers(table, {lab_d50(ground), dry, finished}, noise, dice);
        table += "\n";
        std::vector<Lab> stick{lab_d50(black), lab_d50(white)};
        for (const Spectrum& under : {black, white})
            stick.push_back(lab_d50(fibres ? fibres->wrapped(dye, Schedule::none, under, constant(0))
                                           : wrapped(thread, dye, Schedule::none, under, constant(0))));
        std::string row;
        add_numbers(row, stick, noise, opacity_dice);
        opacity += row.substr(1) + "\n";
        ++i;
    }
    return {table, opacity};
}

std::string random_ambers(std::uint64_t seed, int count, double noise) {
    Dice dice(seed * 2 + 99991);
    std::string table = "transmittance,now_L,now_a,now_b,new_L,new_a,new_b,mark_L,mark_a,mark_b,mark_now_L,mark_now_a,mark_now_b\n";
    for (int i = 0; i < count;) {
        Spool thread;
        thread.code = "amber " + std::to_string(seed) + "/" + std::to_string(i);
        thread.material = dice.of(std::vector<Material>{Material::nylon, Material::ncp_nylon, Material::silk});
        thread.size_mm = thread.material == Material::silk ? 0.11 : 0.15;
        thread.aim = any_colour(dice);
        const FibreThread fibres(thread, 3 * seed + dice.below(2));
        const DryLook on_spool = [&](const Spectrum& absorption) { return fibres.dry_opaque(absorption); };
        const Spectrum dye = dyed(thread, on_spool);
        if (apart(lab_d50(on_spool(dye)), thread.aim) > 3) continue;  // no dye reaches it
        const Spectrum ground = ground_named(dice.of(std::vector<std::string>{"graphite", "cane", "maroon", "white"}));
        const Schedule schedule = dice.chance(0.6) ? Schedule::finish : Schedule::preserver_finish;
        // A tail that falls as a bell does, from the near ultraviolet, with a weak, broad shoulder in the blue: no exponential.
        Spectrum tint = bump(dice.between(340, 390), dice.between(60, 110), 1) + bump(470, 60, dice.between(0, 0.15));
        const double depth = dice.between(0.03, 0.6);
        tint = depth / tint[12] * tint;  // 440 nm
        const Spectrum mark = dice.chance(0.7) ? ground_named("white") : ground_named("cream");
        // The mark's own face: closed and smooth already, or matte.
        const bool matte = dice.chance(0.5);
        Spectrum under = mark;
        if (!matte)
            for (double& r : under.at) r = beneath_surface(r);
        char text[32];
        std::snprintf(text, sizeof text, "%.4f", std::exp(-depth));
        table += text;
        add_numbers(table, {lab_d50(fibres.wrapped(dye, schedule, ground, tint))}, noise, dice);
        add_numbers(table, {lab_d50(fibres.wrapped(dye, schedule, ground, constant(0)))}, 0, dice);
        add_numbers(table, {lab_d50(mark), lab_d50(coated_mark(under, tint))}, noise, dice);
        table += "\n";
        ++i;
    }
    return table;
}

}  // namespace bindhue::render

#include "random_scene.hpp"

#include <algorithm>
#include <cmath>
#include <random>

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

}  // namespace

json random_scene(std::uint64_t seed, const std::vector<std::string>& sensors, bool any_light, bool phone) {
    Dice dice(seed);
    const auto& rack = demo_spools();
    json s{{"format", "bindhue-scene"},
           {"version", 1},
           {"title", "random " + std::to_string(seed)},
           {"seed", seed % 2147483647}};

    s["output"] = {{"kind", phone ? "phone" : "linear"}, {"width", 1800}, {"height", 1240}};
    if (phone) {
        s["output"]["quality"] = static_cast<int>(dice.between(80, 97));
        s["output"]["saturation"] = to(dice.between(1.0, 1.3), 0.01);
        s["output"]["contrast"] = to(dice.between(0.1, 0.6), 0.01);
        s["output"]["sharpening"] = to(dice.between(0, 1), 0.01);
        s["output"]["orientation"] = std::vector<int>{1, 1, 3, 6, 8}[dice.below(5)];
    } else {
        s["output"]["bits"] = 14;
    }
    json camera{{"sensor", dice.of(sensors)},
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
    if (dice.chance(0.1)) camera["roll_deg"] = to(dice.between(170, 190), 0.1) - 0;
    if (camera["roll_deg"] > 180) camera["roll_deg"] = camera["roll_deg"].get<double>() - 360;
    s["camera"] = camera;

    const std::vector<std::string> fair{"D50", "D65", "LED-B3"},
        any{"D50", "D65", "A", "F2", "F11", "LED-B3"};
    const std::string main = dice.of(any_light ? any : fair);
    json lights = json::array({random_light(dice, main, 1.0, any_light)});
    const double second = dice.unit();
    if (second < 0.35)
        lights.push_back(random_light(dice, main, to(dice.between(0.2, 0.9), 0.01), any_light));
    else if (any_light && second < 0.6)
        lights.push_back(random_light(dice, dice.of(any), to(dice.between(0.1, 0.5), 0.01), any_light));
    s["lights"] = lights;

    const double thick = dice.between(4, 15), taper = dice.between(0, 0.12);
    const double middle = dice.between(51, 59), skew = dice.between(-1.5, 1.5);
    json rod{{"diameter_mm", {to(thick * (1 + taper / 2), 0.01), to(thick * (1 - taper / 2), 0.01)}},
             {"y_mm", {to(middle - skew, 0.01), to(middle + skew, 0.01)}},
             {"rise_mm", to(dice.between(-0.8, 0.5), 0.01)},
             {"blank", dice.of(std::vector<std::string>{"graphite", "graphite", "grey", "cane", "olive",
                                                        "maroon", "navy", "cream"})},
             {"gaps", to(dice.between(0, 0.03), 0.001)},
             {"amber", dice.chance(0.3) ? to(dice.between(0, 0.15), 0.001) : 0.0}};
    s["rod"] = rod;
    s["bench"] = dice.of(std::vector<std::string>{"wood", "cloth", "slate"});
    s["bench_depth_mm"] = to(thick * 1.1 + dice.between(3, 40), 0.1);

    json bands = json::array();
    double at = dice.between(3, 14);
    const auto add_band = [&](const Spool& spool, double length, const char* role,
                              const std::string& schedule, const std::string& ground) {
        length = to(length, 0.01);
        if (at + length > 116) return false;
        bands.push_back({{"start_mm", to(at, 0.01)},
                         {"length_mm", length},
                         {"role", role},
                         {"spool", spool.code},
                         {"schedule", schedule},
                         {"ground", ground},
                         {"pitch_mm", to(spool.size_mm * dice.between(0.92, 1.12), 0.001)}});
        at = to(at, 0.01) + length;
        return true;
    };
    // Size matters on a blank: fine thread on thin, heavy on thick.
    const auto any_spool = [&](bool metallic) -> const Spool& {
        for (;;) {
            const Spool& spool = rack[dice.below(rack.size())];
            if ((spool.material == Material::metallic) != metallic) continue;
            if (spool.size_mm > 0.2 && thick < 6) continue;
            return spool;
        }
    };
    const std::size_t wraps = 1 + dice.below(4);
    for (std::size_t w = 0; w < wraps; ++w) {
        const Spool& spool = any_spool(false);
        const double k = dice.unit();
        const std::string schedule = k < 0.6 ? "finish" : k < 0.85 ? "preserver+finish" : "none";
        const std::string ground = dice.chance(0.15) ? "white" : "blank";
        if (dice.chance(0.4) &&
            !add_band(any_spool(dice.chance(0.25)), dice.between(1.0, 3), "trim", schedule, ground))
            break;
        if (!add_band(spool, dice.between(6, 32), "wrap", schedule, ground)) break;
        if (dice.chance(0.4) &&
            !add_band(any_spool(dice.chance(0.25)), dice.between(1.0, 3), "trim", schedule, ground))
            break;
        at += dice.between(3, 15);
    }
    if (bands.empty()) add_band(any_spool(false), 20, "wrap", "finish", "blank");
    s["bands"] = bands;
    return s;
}

}  // namespace bindhue::render

// Draws sample photographs whose colours are known, for tests and demonstrations. See samples/README.md.
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <iostream>
#include <map>
#include <random>
#include <stdexcept>

#include "camera.hpp"
#include "card.hpp"
#include "check.hpp"
#include "random_scene.hpp"
#include "scene.hpp"
#include "trace.hpp"

namespace {

using namespace bindhue::render;
using nlohmann::json;

constexpr const char* usage =
    "Draws sample photographs whose colours are known. Run from the top of the project.\n"
    "  render scene SCENE.json OUT_BASE [--size WxH]\n"
    "                                   one scene: OUT_BASE.jpg, .tiff or .png, and OUT_BASE.truth.json\n"
    "  render random SEED OUT_BASE [--shot N] [--lights fair|any|D50|D65|A|F2|F11|LED-B3] [--kind "
    "linear|phone]\n"
    "                [--what wraps|spools|stick|aged] [--size WxH]\n"
    "                                   a random scene, also written as OUT_BASE.scene.json: SEED draws the "
    "rod, N the\n"
    "                                   camera, the pose, the light and the nuisances\n"
    "  render card OUT.json             the card's layout as a spectrophotometer would give it\n"
    "  render shop OUT_DIR              the demo shop: OUT_DIR/spools.json\n"
    "  render coats SEED OUT.csv [--count N] [--noise SD] [--by plates|fibres] [--opacity OPACITY.csv]\n"
    "                                   coat tests of threads that hang on no rack (40, noise 0.2 per Lab "
    "axis, by plates);\n"
    "                                   OPACITY.csv: the same threads dry over black and white\n"
    "  render ambers SEED OUT.csv [--count N] [--noise SD]\n"
    "                                   finished wraps under an amber finish, now and as new, and a mark beside them\n"
    "  render check                     does what is drawn agree with its truth, and coats with the trade?\n"
    "Options: --card LAYOUT (calibration/card.json), --cameras FILE (samples/cameras.json), --printer N: the card as a home printer prints it,\n"
    "         --brightener SHARE: on paper that makes blue of ultraviolet, in light that has as much as D50: 0.2 of a perfect white or so,\n"
    "         --beside LAYOUT: another card in the card's plane, as the model printer prints it, its corner at --beside-at X,Y (0,118),\n"
    "         --threads FILE: wraps are of thread with these dry reflectances, M-1 and so on (a line each: 81 values, 380 to 780 nm by 5 nm)\n"
    "Example: render scene samples/scenes/door.json /tmp/door\n";

void write_text(const std::string& path, const std::string& text) {
    std::ofstream out(path, std::ios::binary);
    out << text;
    out.close();
    if (!out) throw std::runtime_error(path + ": can't be written");
}

// Numbers of one array stay on one line: spectra by the dozen are no reading matter.
std::string dumped(const json& value) {
    const std::string line = value.dump(1);
    std::string out;
    for (std::size_t i = 0; i < line.size(); ++i) {
        if (line[i] == '[' && i + 1 < line.size()) {
            const std::size_t end = line.find_first_of("[]{}\"", i + 1);
            if (end != std::string::npos && line[end] == ']') {
                for (std::size_t k = i; k <= end; ++k)
                    if (line[k] != '\n' && line[k] != ' ') {
                        out += line[k];
                        if (line[k] == ',') out += ' ';
                    }
                i = end;
                continue;
            }
        }
        out += line[i];
    }
    return out + "\n";
}

void photograph(const Scene& scene, const CardPrint& card, const std::map<std::string, Sensor>& sensors,
                const std::string& base) {
    const auto sensor = scene.camera.sensor.empty() ? sensors.begin() : sensors.find(scene.camera.sensor);
    if (sensor == sensors.end())
        throw std::runtime_error("scene.camera.sensor: no camera called \"" + scene.camera.sensor + "\"");
    Scene named = scene;
    named.camera.sensor = sensor->first;
    Traced traced = trace(named, card, sensor->second);
    const Developed photo = develop(named, traced, card, sensor->second);
    const std::string path = base + "." + scene.output.file;
    write_text(path, std::string(photo.file.begin(), photo.file.end()));
    traced.truth["photo"] = path.substr(path.find_last_of('/') + 1);
    traced.truth["white_balance_gains"] = photo.white_balance_gains;
    traced.truth["clipped_share"] = photo.clipped_share;
    write_text(base + ".truth.json", dumped(traced.truth));
    std::printf("%s (%zu bytes), %s.truth.json\n", path.c_str(), photo.file.size(), base.c_str());
}

json shop() {
    json spools = json::array();
    std::mt19937_64 random(20261101);
    std::normal_distribution<double> noise(0, 0.2);
    for (const Spool& s : demo_spools()) {
        const Lab truth = lab_d50(dry_opaque(s, dyed(s)));
        json lab = json::array();
        for (const double v : truth) lab.push_back(std::round(100 * (v + noise(random))) / 100);
        const json reading{{"lab", lab},          {"covariance", {0.04, 0.04, 0.04, 0, 0, 0}},
                           {"source", "rendered"}, {"date", "2026-11-01"}};
        spools.push_back({{"code", s.code},
                          {"name", s.name},
                          {"material", name(s.material)},
                          {"size", s.size},
                          {"size_mm", s.size_mm},
                          {"lot", "1"},
                          {"readings", {reading}}});
    }
    return {{"format", "bindhue-spools"}, {"version", 2}, {"note", "invented demo data"}, {"spools", spools}};
}

struct Arguments {
    std::vector<std::string> plain;
    std::map<std::string, std::string> options;
};

Arguments parsed(int argc, char** argv) {
    Arguments a;
    for (int i = 1; i < argc; ++i) {
        const std::string word = argv[i];
        if (word.rfind("--", 0) != 0) {
            a.plain.push_back(word);
            continue;
        }
        bool known = false;
        for (const char* o : {"--card", "--cameras", "--lights", "--kind", "--size", "--shot", "--what",
                              "--count", "--noise", "--by", "--opacity", "--printer", "--brightener", "--beside", "--beside-at", "--threads"})
            known = known || word == o;
        if (!known || i + 1 >= argc)
            throw std::invalid_argument("unknown option, or no value for it: " + word);
        a.options[word] = argv[++i];
    }
    return a;
}

void resize(Scene& scene, const std::string& size) {
    int w = 0, h = 0;
    char rest = 0;
    if (std::sscanf(size.c_str(), "%dx%d%c", &w, &h, &rest) != 2 || w < 64 || h < 64 || w > 12000 ||
        h > 12000)
        throw std::invalid_argument("--size must be like 4000x3000, 64 to 12000 each way");
    // Blur belongs to the lens: it keeps its width in the picture, not in pixels.
    scene.camera.defocus_px *= static_cast<double>(w) / scene.output.width;
    scene.output.width = w, scene.output.height = h;
}

std::uint64_t whole_number(const std::string& text) {
    if (text.empty() || text.size() > 18 || text.find_first_not_of("0123456789") != std::string::npos)
        throw std::invalid_argument("SEED, --shot, --count and --printer must be whole numbers");
    return std::stoull(text);
}

double share(const std::string& text) {
    double out = 0;
    char rest = 0;
    if (std::sscanf(text.c_str(), "%lf%c", &out, &rest) != 1 || !(out >= 0 && out <= 1)) throw std::invalid_argument("--brightener must lie between 0 and 1");
    return out;
}

int run(int argc, char** argv) {
    const Arguments a = parsed(argc, argv);
    const auto option = [&](const char* key, const char* otherwise) {
        const auto it = a.options.find(key);
        return it == a.options.end() ? std::string(otherwise) : it->second;
    };
    const std::string command = a.plain.empty() ? "" : a.plain[0];
    const std::size_t wanted = command == "scene" || command == "random" || command == "coats" || command == "ambers" ? 3
                               : command == "check"                                            ? 1
                                                                                               : 2;
    if ((command != "scene" && command != "random" && command != "card" && command != "shop" &&
         command != "coats" && command != "ambers" && command != "check") ||
        a.plain.size() != wanted)
        throw std::invalid_argument("unknown command, or too few or too many words");

    if (command == "shop") {
        write_text(a.plain[1] + "/spools.json", dumped(shop()));
        return 0;
    }
    if (command == "coats" || command == "ambers") {
        const std::uint64_t count = whole_number(option("--count", "40"));
        const std::string noise_text = option("--noise", "0.2");
        char* end = nullptr;
        const double noise = std::strtod(noise_text.c_str(), &end);
        if (count < 1 || count > 100000 || end == noise_text.c_str() || *end || !(noise >= 0 && noise <= 10))
            throw std::invalid_argument("--count must lie between 1 and 100000, --noise between 0 and 10");
        if (command == "ambers") {
            write_text(a.plain[2], random_ambers(whole_number(a.plain[1]), static_cast<int>(count), noise));
            return 0;
        }
        const std::string by = option("--by", "plates");
        if (by != "plates" && by != "fibres") throw std::invalid_argument("--by must be plates or fibres");
        const RandomCoatTests drawn = random_coat_tests(whole_number(a.plain[1]), static_cast<int>(count), noise,
                                                        by == "fibres" ? CoatJudge::fibres : CoatJudge::plates);
        write_text(a.plain[2], drawn.table);
        if (a.options.count("--opacity")) write_text(option("--opacity", ""), drawn.opacity);
        return 0;
    }
    CardPrint card = card_from(option("--card", "calibration/card.json"), Printer{whole_number(option("--printer", "0")), share(option("--brightener", "0"))});
    if (a.options.count("--beside")) {
        double x = 0, y = 0;
        char rest = 0;
        const std::string at = option("--beside-at", "0,118");
        if (std::sscanf(at.c_str(), "%lf,%lf%c", &x, &y, &rest) != 2) throw std::invalid_argument("--beside-at must be like 0,118");
        lay_beside(card, card_from(option("--beside", "")), x, y);
    }
    if (command == "check") return check(card) ? 0 : 1;
    if (command == "card") {
        write_text(a.plain[1], dumped(measured(card, 4711)));
        return 0;
    }
    if (a.options.count("--threads")) hang_measured(reflectances_from(option("--threads", "")));
    const auto sensors = sensors_from(option("--cameras", "samples/cameras.json"));
    if (command == "scene") {
        std::ifstream in(a.plain[1]);
        if (!in) throw std::runtime_error(a.plain[1] + ": can't be read");
        Scene scene;
        try {
            scene = scene_from(json::parse(in));
        } catch (const std::exception& e) {
            throw std::runtime_error(a.plain[1] + ": " + e.what());
        }
        if (a.options.count("--size")) resize(scene, option("--size", ""));
        photograph(scene, card, sensors, a.plain[2]);
        return 0;
    }
    const std::uint64_t seed = whole_number(a.plain[1]);
    const std::string kind = option("--kind", "linear"), what = option("--what", "wraps");
    if (kind != "linear" && kind != "phone") throw std::invalid_argument("--kind must be linear or phone");
    using What = RandomWish::What;
    const std::map<std::string, What> known{{"wraps", What::wraps}, {"spools", What::spools}, {"stick", What::stick}, {"aged", What::aged}};
    if (!known.count(what)) throw std::invalid_argument("--what must be wraps, spools, stick or aged");
    RandomWish wish{seed, whole_number(option("--shot", a.plain[1].c_str())), option("--lights", "fair"),
                    kind == "phone", known.at(what)};
    if (wish.lights != "fair" && wish.lights != "any") light_named(wish.lights);
    std::vector<std::string> names;
    for (const auto& [name, s] : sensors) names.push_back(name);
    const json drawn = random_scene(wish, names);
    Scene scene = scene_from(drawn);
    if (a.options.count("--size")) resize(scene, option("--size", ""));
    write_text(a.plain[2] + ".scene.json", dumped(drawn));
    photograph(scene, card, sensors, a.plain[2]);
    return 0;
}

}  // namespace

int main(int argc, char** argv) {
    try {
        return run(argc, argv);
    } catch (const std::invalid_argument& e) {
        std::cerr << "render: " << e.what() << "\n\n" << usage;
        return 2;
    } catch (const std::exception& e) {
        std::cerr << "render: " << e.what() << "\n";
        return 3;
    }
}

// How near the values come that `bindhue card assign` reads from a photo, and what they are worth: cards as home printers print them, drawn beside
// a measured target and then round wraps. The program sees photos and layouts alone; what the printers printed stays here.
//
//     assign_accuracy FOLDER FIRST_SEED COUNT        photos and layouts are kept in FOLDER, to be read again
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <iostream>
#include <stdexcept>

#include "colour/difference.hpp"
#include "photo_trial.hpp"

namespace {

using namespace bindhue;
using namespace bindhue::accuracy;

constexpr const char* render = RENDER_BINARY;
constexpr const char* tool = BINDHUE_BINARY;

void draw(const std::vector<std::string>& words) {
    const Desk desk;
    std::vector<std::string> all{render};
    all.insert(all.end(), words.begin(), words.end());
    all.insert(all.end(), {"--cameras", (source() / "samples/cameras.json").string()});
    if (const Ran ran = run(all, desk.path); ran.exit_code != 0) throw std::runtime_error("render: " + ran.err);
}

json patches_of(const fs::path& layout) {
    json out = json::object();
    const json card = json::parse(text_of(layout));
    for (const json& p : card.at("patches"))
        if (p.at("role") != "trap") out[p.at("id").get<std::string>()] = p;
    return out;
}

Lab<D50> lab_of(const json& patch) { return Lab<D50>::from(patch.at("lab").get<std::array<double, 3>>()); }

std::string pair_of(const std::vector<double>& v) {
    char text[64];
    std::snprintf(text, sizeof text, "%.2f / %.2f", quantile(v, 0.5), quantile(v, 0.95));
    return text;
}

// A random scene, seen from farther off so that two cards have room, lamps as much farther.
fs::path draw_pair(const fs::path& folder, const std::string& name, const std::string& seed, const std::string& kind, const std::string& lights) {
    const fs::path base = folder / ("pair-" + name);
    const fs::path photo = base.string() + (kind == "linear" ? ".tiff" : ".jpg");
    if (fs::exists(photo)) return photo;
    const Desk desk;
    const fs::path plain = desk.path / "plain";
    const std::string design = (source() / "calibration/card.json").string();
    draw({"random", seed, plain.string(), "--kind", kind, "--lights", lights, "--size", "64x64", "--card", design});
    json scene = json::parse(text_of(plain.string() + ".scene.json"));
    json& camera = scene["camera"];
    camera["centre_mm"] = {80, 114};
    camera["view_width_mm"] = 355;
    camera["distance_mm"] = 560;
    if (camera.contains("tilt_deg"))
        for (json& tilt : camera["tilt_deg"]) tilt = std::clamp(tilt.get<double>(), -10.0, 10.0);
    if (camera.contains("roll_deg")) camera["roll_deg"] = std::clamp(camera["roll_deg"].get<double>(), -6.0, 6.0);
    scene["output"]["width"] = 2400;
    scene["output"]["height"] = 1700;
    scene["output"]["orientation"] = 1;
    for (json& light : scene["lights"])
        for (json& place : light["position_mm"]) place = 2 * place.get<double>();
    std::ofstream(base.string() + ".scene.json") << scene.dump(1);
    draw({"scene", base.string() + ".scene.json", base.string(), "--card", design, "--printer", seed, "--beside", (folder / "target-design.json").string()});
    return photo;
}

struct Use {
    std::vector<double> delta_e;
    std::size_t bands = 0, inside = 0, refused = 0;

    void count(const Outcome& o) {
        refused += o.exit_code != 0;
        for (const FoundBand& f : o.found) {
            delta_e.push_back(f.delta_e);
            ++bands;
            inside += f.distance_squared < region_95;
        }
    }
    void print(const char* values) const {
        std::printf("| %s | %zu | %zu | %s | %.0f %% |\n", values, bands, refused, pair_of(delta_e).c_str(), bands == 0 ? 0.0 : 100.0 * static_cast<double>(inside) / static_cast<double>(bands));
    }
};

void row(const fs::path& folder, unsigned long first, unsigned long count, const std::string& kind, const std::string& lights, std::string& table) {
    std::vector<double> nominal, assigned, target;
    std::size_t patches = 0, inside = 0, refused = 0;
    Use by_nominal, by_assigned, by_measured;
    for (unsigned long i = 0; i < count; ++i) {
        const std::string seed = std::to_string(first + i), name = seed + "-" + kind + "-" + lights;
        const fs::path design = source() / "calibration/card.json", truth = folder / ("truth-" + seed + ".json"), own = folder / ("assigned-" + name + ".json");
        if (!fs::exists(truth)) draw({"card", truth.string(), "--card", design.string(), "--printer", seed});
        const fs::path photo = draw_pair(folder, name, seed, kind, lights);
        const Desk desk;
        const fs::path copy = desk.path / ("photo" + photo.extension().string());
        fs::copy_file(photo, copy);
        std::vector<std::string> words{tool, "card", "assign", design.string(), "--from", copy.string(), "--target", (folder / "target.json").string(), "--out", own.string(), "--replace", "--json"};
        if (kind == "linear") words.emplace_back("--linear");
        const Ran ran = run(words, desk.path);
        if (ran.exit_code != 0) {
            ++refused;
            std::printf("  %s: exit %d: %s", name.c_str(), ran.exit_code, ran.err.c_str());
            continue;
        }
        target.push_back(json::parse(ran.out).at("target_error").at("median"));
        const json truths = patches_of(truth), designed = patches_of(design), read = patches_of(own);
        std::vector<double> before, after;
        for (const auto& [id, patch] : truths.items()) {
            before.push_back(ciede2000(lab_of(patch), lab_of(designed.at(id))));
            after.push_back(ciede2000(lab_of(patch), lab_of(read.at(id))));
            Reading reading{lab_of(read.at(id)), {}, {}};
            for (std::size_t r = 0; r < 3; ++r)
                for (std::size_t c = 0; c < 3; ++c) reading.covariance(r, c) = read.at(id).at("covariance")[r][c];
            ++patches;
            inside += mahalanobis_squared(lab_of(patch), reading) < region_95;
        }
        std::printf("  %s: design %s, assigned %s, target %.2f\n", name.c_str(), pair_of(before).c_str(), pair_of(after).c_str(), target.back());
        nominal.insert(nominal.end(), before.begin(), before.end());
        assigned.insert(assigned.end(), after.begin(), after.end());

        // The same print round a wrap, in another light by another camera.
        const fs::path wrap = folder / ("wrap-" + name);
        const std::string other = std::to_string(first + i + 5000);
        if (!fs::exists(wrap.string() + ".truth.json"))
            draw({"random", other, wrap.string(), "--kind", kind, "--lights", lights, "--card", design.string(), "--printer", seed});
        const json seen = json::parse(text_of(wrap.string() + ".truth.json"));
        const std::vector<fs::path> photos{folder / seen.at("photo").get<std::string>()};
        by_nominal.count(accuracy::read(tool, photos, seen, name, design));
        by_assigned.count(accuracy::read(tool, photos, seen, name, own));
        by_measured.count(accuracy::read(tool, photos, seen, name, truth));
        std::fflush(stdout);
    }
    char text[400];
    std::snprintf(text, sizeof text, "| %s, %s light | %lu | %zu | %s | %s | %s | %.0f %% |\n", kind.c_str(), lights.c_str(), count, refused, pair_of(target).c_str(), pair_of(nominal).c_str(),
                  pair_of(assigned).c_str(), patches == 0 ? 0.0 : 100.0 * static_cast<double>(inside) / static_cast<double>(patches));
    table += text;
    std::printf("\nwraps, %s, %s light\n\n| card's values | bands | refused | CIEDE2000 | inside 95 %% |\n|---|---|---|---|---|\n", kind.c_str(), lights.c_str());
    by_nominal.print("as designed");
    by_assigned.print("assigned");
    by_measured.print("measured");
    std::printf("\n");
}

}  // namespace

int main(int argc, char** argv) {
    try {
        if (argc != 4) throw std::runtime_error("give FOLDER FIRST_SEED COUNT");
        const fs::path folder = argv[1];
        const unsigned long first = std::stoul(argv[2]), count = std::stoul(argv[3]);
        fs::create_directories(folder);
        // The target: the same design under markers of its own, as a virtual spectrophotometer reads it.
        json design = json::parse(text_of(source() / "calibration/card.json"));
        design["name"] = "measured target";
        for (json& marker : design["fiducials"]["markers"]) marker["id"] = marker["id"].get<int>() + 10;
        std::ofstream(folder / "target-design.json") << design;
        draw({"card", (folder / "target.json").string(), "--card", (folder / "target-design.json").string()});
        std::string table = "| photo of both cards | photos | refused | target's check patches | values as designed | values assigned | inside 95 % |\n|---|---|---|---|---|---|---|\n";
        row(folder, first, count, "linear", "fair", table);
        row(folder, first + 1000, count, "linear", "any", table);
        row(folder, first + 2000, count, "phone", "fair", table);
        std::printf("%s", table.c_str());
        return 0;
    } catch (const std::exception& e) {
        std::cerr << "assign_accuracy: " << e.what() << '\n';
        return 2;
    }
}

#include "random_photos.hpp"

#include <algorithm>
#include <array>
#include <atomic>
#include <cmath>
#include <cstdio>
#include <fstream>
#include <functional>
#include <map>
#include <random>
#include <stdexcept>
#include <thread>

#include "colour/difference.hpp"

namespace bindhue::accuracy {
namespace {

// Runs the renderer, told also what it is told of every photo.
void draw(const RandomOptions& options, const fs::path& cameras, std::vector<std::string> words) {
    words.insert(words.begin(), options.render);
    words.insert(words.end(), {"--card", (source() / "calibration/card.json").string(), "--cameras", cameras.string()});
    if (!options.threads.empty()) words.insert(words.end(), {"--threads", options.threads});
    const Desk desk;
    if (const Ran ran = run(words, desk.path); ran.exit_code != 0) throw std::runtime_error("render: " + ran.err);
}

// Draws a random scene, if it is not there yet, and gives its truth.
json drawn(const RandomOptions& options, const std::string& seed, const fs::path& base,
           const std::string& kind, const std::string& lights, const std::string& shot,
           const fs::path& cameras) {
    const fs::path truth_path = base.string() + ".truth.json";
    if (!fs::exists(truth_path)) {
        std::vector<std::string> words{"random", seed, base.string(), "--kind", kind, "--lights", lights};
        if (!shot.empty()) words.insert(words.end(), {"--shot", shot});
        draw(options, cameras, words);
    }
    return json::parse(text_of(truth_path));
}

// Each longer wrap is wound with thread twisted of its own spool's and another one's of the same material.
void twist(json& scene, std::mt19937_64& dice) {
    static const json rack = json::parse(text_of(source() / "palettes/demo-shop/spools.json"));
    std::map<std::string, std::pair<std::string, json>> spools;  // material and first reading, by code
    for (const json& spool : rack.at("spools")) spools[spool.at("code")] = {spool.at("material"), spool.at("readings")[0].at("lab")};
    const auto between = [&](double low, double high) { return low + (high - low) * static_cast<double>(dice() >> 11) * 0x1.0p-53; };
    for (json& band : scene.at("bands")) {
        if (band.at("length_mm") < 6 || band.at("ground") == "deep") continue;
        const auto& [material, lab] = spools.at(band.at("spool"));
        std::vector<std::string> others;
        // Thread is sold two-coloured to be seen as such.
        for (const auto& [code, other] : spools)
            if (other.first == material && std::hypot(other.second[1].get<double>() - lab[1].get<double>(), other.second[2].get<double>() - lab[2].get<double>()) > 25)
                others.push_back(code);
        if (others.empty()) continue;
        band["twisted_with"] = {{"spool", others[dice() % others.size()]}, {"share", between(0.3, 0.7)}, {"repeat_mm", between(1.2, 4)}};
    }
}

// A guide whose foot lies under the rod's longest wrap.
void add_guide(json& scene, std::mt19937_64& dice, bool facing) {
    const auto between = [&](double low, double high) { return low + (high - low) * static_cast<double>(dice() >> 11) * 0x1.0p-53; };
    const json& bands = scene.at("bands");
    const auto longest = std::max_element(bands.begin(), bands.end(), [](const json& a, const json& b) { return a.at("length_mm") < b.at("length_mm"); });
    if (longest == bands.end()) return;
    const double start = longest->at("start_mm"), length = longest->at("length_mm"), foot = std::min(16.0, 0.75 * length);
    const double turned = facing ? between(-25, 25) : between(50, 180) * (dice() % 2 == 0 ? 1 : -1);
    scene["rod"]["guides"] = {{{"at_mm", start + length + 3}, {"angle_deg", turned}, {"feet_mm", {foot, 0}}, {"ring_mm", between(5, 12)}}};
}

// Two photos of one rod by one camera, in linear light.
struct Pair {
    const char* lights[2];
};
constexpr Pair unlike_lights[] = {
    {{"D65", "A"}}, {{"D65", "F11"}}, {{"F11", "LED-B3"}}, {{"D50", "F2"}}, {{"LED-B3", "A"}}};
constexpr std::size_t pair_seed = 40'000, difference_seed = 50'000, tilted = 500'000;

// The work of one scene after another, on as many threads as there are jobs.
template <class Work>
void for_each(const RandomOptions& options, Faults& faults, const Work& work) {
    std::vector<std::string> broken(options.count);
    std::atomic<std::size_t> next{0};
    std::vector<std::thread> workers;
    for (std::size_t k = 0; k < options.jobs; ++k)
        workers.emplace_back([&] {
            for (std::size_t i = next++; i < options.count; i = next++) try {
                    work(i);
                } catch (const std::exception& e) {
                    broken[i] = std::string("scene ") + std::to_string(i) + ": " + e.what();
                }
        });
    for (std::thread& worker : workers) worker.join();
    for (const std::string& sentence : broken) faults.check(sentence.empty(), sentence);
}

}  // namespace

json drawn_changed(const RandomOptions& options, const std::string& seed, const fs::path& base, const std::string& kind, const std::string& shot,
                   const fs::path& cameras, const std::function<void(json&)>& change, const std::vector<std::string>& more) {
    if (!fs::exists(base.string() + ".truth.json")) {
        const Desk desk;
        const fs::path plain = desk.path / "plain";
        std::vector<std::string> words{"random", seed, plain.string(), "--kind", kind, "--lights", "fair", "--shot", shot, "--size", "128x88"};
        words.insert(words.end(), more.begin(), more.end());
        draw(options, cameras, words);
        json scene = json::parse(text_of(plain.string() + ".scene.json"));
        change(scene);
        const fs::path changed = base.string() + ".scene.json";
        std::ofstream(changed) << scene.dump(1);
        draw(options, cameras, {"scene", changed.string(), base.string()});
    }
    return json::parse(text_of(base.string() + ".truth.json"));
}

std::vector<fs::path> cameras_apart(const std::string& cameras, const fs::path& folder) {
    const json all = json::parse(text_of(cameras));
    std::vector<fs::path> out;
    for (const auto& [name, sensitivities] : all.at("cameras").items()) {
        json one = all;
        one["cameras"] = json::object({{name, sensitivities}});
        out.push_back(folder / ("camera-" + std::to_string(out.size()) + ".json"));
        std::ofstream(out.back()) << one;
    }
    return out;
}

void keep_the_bench(json& second, const json& first) {
    json camera = first.at("camera");
    for (const char* pose : {"distance_mm", "centre_mm", "tilt_deg", "roll_deg", "exposure"}) camera[pose] = second.at("camera").at(pose);
    second["camera"] = camera;
    for (const char* stays : {"lights", "bench", "output"}) second[stays] = first.at(stays);
    // Unless the rod is too thick for it (drawn rods lie up to 0.8 mm lower than the card): then card and rod lie higher.
    const auto diameter_mm = second.at("rod").at("diameter_mm").get<std::array<double, 2>>();
    if (const double depth_mm = first.at("bench_depth_mm"); depth_mm > std::max(diameter_mm[0], diameter_mm[1]) + 1) second["bench_depth_mm"] = depth_mm;
}

std::vector<Outcome> read_random(const RandomOptions& options, const Kind& kind, const fs::path& folder,
                                 Faults& faults) {
    std::vector<Outcome> out(options.count);
    std::vector<std::string> broken(options.count);
    std::atomic<std::size_t> next{0};
    const auto work = [&] {
        for (std::size_t i = next++; i < options.count; i = next++) {
            const std::string seed = std::to_string(options.seed + kind.first_seed + i);
            const fs::path base = folder / (std::string(kind.kind) + "-" + kind.lights + "-" + seed);
            try {
                const json truth = drawn(options, seed, base, kind.kind, kind.lights, {}, options.cameras);
                out[i] = read(options.tool, {folder / truth.at("photo").get<std::string>()}, truth,
                              base.filename().string(), options.card);
                if (out[i].exit_code != 0 && out[i].exit_code != cannot_measure)
                    broken[i] = base.filename().string() + ": exit " + std::to_string(out[i].exit_code) +
                                ": " + out[i].message;
            } catch (const std::exception& e) {
                broken[i] = base.filename().string() + ": " + e.what();
            }
        }
    };
    std::vector<std::thread> workers;
    for (std::size_t i = 0; i < options.jobs; ++i) workers.emplace_back(work);
    for (std::thread& worker : workers) worker.join();
    for (const std::string& sentence : broken) faults.check(sentence.empty(), sentence);
    return out;
}

std::vector<Outcome> read_two_lights(const RandomOptions& options, const fs::path& folder, Faults& faults) {
    std::vector<Outcome> out(options.count);
    const std::vector<fs::path> cameras = cameras_apart(options.cameras, folder);
    for_each(options, faults, [&](std::size_t i) {
        const std::string seed = std::to_string(options.seed + pair_seed + i);
        const Pair& pair = unlike_lights[i % std::size(unlike_lights)];
        const fs::path base = folder / ("pair-" + seed);
        std::vector<fs::path> photos;
        json truth;
        for (std::size_t k = 0; k < 2; ++k) {
            const fs::path shot = base.string() + (k == 0 ? "a" : "b");
            const json of_shot = drawn(options, seed, shot, "linear", pair.lights[k],
                                       std::to_string(2 * i + k + 1), cameras[i % cameras.size()]);
            if (k == 0) truth = of_shot;
            photos.push_back(folder / of_shot.at("photo").get<std::string>());
        }
        out[i] = read(options.tool, photos, truth, base.filename().string());
    });
    return out;
}

Difference read_differences(const RandomOptions& options, bool lamps_stay, const fs::path& folder, Faults& faults) {
    std::vector<Difference> parts(options.count);
    const std::vector<fs::path> cameras = cameras_apart(options.cameras, folder);
    const char* lights[] = {"D50", "D65", "LED-B3"};
    for_each(options, faults, [&](std::size_t i) {
        const std::string seed = std::to_string(options.seed + difference_seed + i);
        const fs::path base = folder / ("difference-" + seed);
        std::vector<Outcome> both;
        for (std::size_t k = 0; k < 2; ++k) {
            const fs::path shot = base.string() + (k == 0 ? "a" : lamps_stay ? "c" : "b");
            const std::string number = std::to_string(2 * i + k + 1);
            json truth;
            if (k == 1 && lamps_stay) {
                truth = drawn_changed(options, seed, shot, "linear", number, cameras[i % cameras.size()],
                                      [&](json& scene) { keep_the_bench(scene, json::parse(text_of(base.string() + "a.scene.json"))); });
            } else {
                truth = drawn(options, seed, shot, "linear", lights[i % std::size(lights)], number, cameras[i % cameras.size()]);
            }
            both.push_back(read(options.tool, {folder / truth.at("photo").get<std::string>()}, truth,
                                shot.filename().string()));
        }
        for (const FoundBand& one : both[0].found)
            for (const FoundBand& other : both[1].found) {
                if (one.truth.start != other.truth.start) continue;
                Reading first = one.read.colour, second = other.read.colour;
                first.context = second.context = {"camera", "card", "light"};
                parts[i].delta_e.push_back(ciede2000(first.lab, second.lab));
                ++parts[i].bands;
                if (disagreement(first, second) < region_95) ++parts[i].inside;
                if (options.bands)
                    std::printf(
                        "  %-16s %-5s at %5.1f mm: %5.1f %5.1f %5.1f and %5.1f %5.1f %5.1f, "
                        "CIEDE2000 %5.2f, distance^2 %6.2f\n",
                        both[0].name.c_str(), one.truth.role.c_str(), one.truth.start, first.lab.L,
                        first.lab.a, first.lab.b, second.lab.L, second.lab.a, second.lab.b,
                        parts[i].delta_e.back(), disagreement(first, second));
            }
    });
    Difference all;
    for (const Difference& part : parts) {
        all.bands += part.bands;
        all.inside += part.inside;
        all.delta_e.insert(all.delta_e.end(), part.delta_e.begin(), part.delta_e.end());
    }
    return all;
}

// Finished wraps of 10 mm on get patches.
void soak_by_patches(json& scene, std::mt19937_64& dice) {
    for (json& band : scene.at("bands")) {
        if (band.at("schedule") == "none" || band.at("length_mm").get<double>() < 10) continue;
        const double share = std::uniform_real_distribution(0.25, 0.6)(dice), patch = std::uniform_real_distribution(3.0, 8.0)(dice);
        band["uneven"] = {{"share", share}, {"patch_mm", patch}};
    }
}

// Half of the wraps, and every trim, are wound with metallic thread that flashes.
void wind_metallic(json& scene, std::mt19937_64& dice) {
    constexpr std::size_t spools = 6;  // R8-01 to R8-06
    std::size_t last = 0;
    for (json& band : scene.at("bands")) {
        if (band.at("role") == "wrap" && dice() % 2 == 0) continue;
        last = (last + 1 + dice() % (spools - 1)) % spools;  // another one than beside it
        band["spool"] = "R8-0" + std::to_string(1 + last);
        band["pitch_mm"] = std::uniform_real_distribution(0.16, 0.19)(dice);
        band["flash"] = std::uniform_real_distribution(0.4, 1.0)(dice);
    }
}

// Half of the wraps are wound with vivid thread whose dye glows as it would: yellow and green, orange, red and pink.
void wind_fluorescent(json& scene, std::mt19937_64& dice) {
    struct Dyed {
        const char* spool;
        double excited_nm, sent_nm;
    };
    constexpr Dyed threads[] = {{"R4-04", 450, 515}, {"R1-33", 450, 515}, {"R4-19", 440, 510}, {"R1-04", 450, 520}, {"R2-04", 500, 590},
                                {"R4-05", 500, 590}, {"R5-03", 500, 595}, {"R1-16", 530, 605}, {"R4-06", 520, 605}, {"R2-07", 530, 610}};
    std::size_t last = 0;
    for (json& band : scene.at("bands")) {
        if (band.at("role") != "wrap" || dice() % 2 == 0) continue;
        last = (last + 1 + dice() % (std::size(threads) - 1)) % std::size(threads);
        band["spool"] = threads[last].spool;
        band["fluorescent"] = {{"strength", std::uniform_real_distribution(0.3, 1.3)(dice)}, {"excited_nm", threads[last].excited_nm}, {"sent_nm", threads[last].sent_nm}};
    }
}

// Of two photos of one rod: the lightest and the darkest look that either shows.
void take_in_looks(json& truth, const json& other) {
    for (std::size_t i = 0; i < truth.at("bands").size(); ++i) {
        if (!truth["bands"][i].contains("metallic")) continue;
        json& here = truth["bands"][i]["metallic"];
        const json& there = other.at("bands")[i].at("metallic");
        if (there.at("face_lab")[0] > here.at("face_lab")[0]) here["face_lab"] = there["face_lab"];
        if (there.at("flop_lab")[0] < here.at("flop_lab")[0]) here["flop_lab"] = there["flop_lab"];
    }
}

std::vector<Outcome> read_changed(const RandomOptions& options, const std::string& what, const fs::path& folder, Faults& faults) {
    const bool film = what == metallic || what == metallic_two_tilts;
    const std::size_t first_seed = what == two_coloured ? 70'000 : what == guide_aside ? 80'000 : what == guide_facing ? 90'000 : what == uneven ? 100'000 : what == fluorescent ? 120'000 : 110'000;
    std::vector<Outcome> out(options.count);
    for_each(options, faults, [&](std::size_t i) {
        const std::uint64_t number = options.seed + first_seed + i;
        std::string name = (film ? metallic : what) + "-" + std::to_string(number);
        std::replace(name.begin(), name.end(), ' ', '-');
        const auto photograph = [&](const std::string& photo, const std::string& shot) {
            std::mt19937_64 dice(number);
            return drawn_changed(options, std::to_string(number), folder / photo, i % 2 == 0 ? "linear" : "phone", shot, options.cameras, [&](json& scene) {
                if (film) {
                    wind_metallic(scene, dice);
                } else if (what == two_coloured) {
                    twist(scene, dice);
                } else if (what == uneven) {
                    soak_by_patches(scene, dice);
                } else if (what == fluorescent) {
                    wind_fluorescent(scene, dice);
                } else {
                    add_guide(scene, dice, what == guide_facing);
                }
            });
        };
        const auto path_of = [&](const json& truth) { return folder / truth.at("photo").get<std::string>(); };
        json truth = photograph(name, std::to_string(number));
        std::vector<fs::path> photos{path_of(truth)};
        if (what == metallic_two_tilts) {
            const json other = photograph(name + "-tilted", std::to_string(number + tilted));
            photos.push_back(path_of(other));
            take_in_looks(truth, other);
        }
        out[i] = read(options.tool, photos, truth, name);
    });
    return out;
}

void print_by_nuisance(const std::vector<Outcome>& outcomes, const fs::path& folder) {
    using OfScene = std::function<bool(const json&)>;
    const auto camera = [](const char* field, double least) -> OfScene {
        return [field, least](const json& s) { return s.at("camera").at(field).get<double>() > least; };
    };
    const std::pair<const char*, OfScene> of_scene[] = {
        {"rod under 6 mm", [](const json& s) { return s.at("rod").at("diameter_mm")[0] < 6; }},
        {"rod over 11 mm", [](const json& s) { return s.at("rod").at("diameter_mm")[0] > 11; }},
        {"tilt over 10 deg",
         [](const json& s) {
             const json& tilt = s.at("camera").at("tilt_deg");
             return std::hypot(tilt[0].get<double>(), tilt[1].get<double>()) > 10;
         }},
        {"upside down",
         [](const json& s) { return std::abs(s.at("camera").at("roll_deg").get<double>()) > 90; }},
        {"unlike lights",
         [](const json& s) {
             const json& lights = s.at("lights");
             return lights.size() > 1 && lights[0].at("spectrum") != lights[1].at("spectrum");
         }},
        {"lamp under 600 mm",
         [](const json& s) {
             const json& p = s.at("lights")[0].at("position_mm");
             return std::hypot(p[0].get<double>() - 80, p[1].get<double>() - 55, p[2].get<double>()) < 600;
         }},
        {"no lens mask", [](const json& s) { return s.at("camera").at("mask_mm") == 0; }},
        {"fall-off over 0.25", camera("vignetting", 0.25)},
        {"defocus over 1.2", camera("defocus_px", 1.2)},
        {"veil over 0.008", camera("veil", 0.008)}};
    for (const auto& [name, belongs] : of_scene) {
        std::vector<Outcome> some;
        for (const Outcome& o : outcomes)
            if (belongs(json::parse(text_of(folder / (o.name + ".scene.json"))))) some.push_back(o);
        if (!some.empty()) print_row(std::string("  ") + name, some, "");
    }
    const std::pair<const char*, std::function<bool(const Band&)>> of_band[] = {
        {"bands under L* 25", [](const Band& b) { return b.colour.lab.L < 25; }},
        {"bands over L* 60", [](const Band& b) { return b.colour.lab.L > 60; }},
        {"trims", [](const Band& b) { return b.role == "trim"; }}};
    for (const auto& [name, belongs] : of_band) {
        std::vector<Outcome> some = outcomes;
        for (Outcome& o : some) {
            std::erase_if(o.found, [&](const FoundBand& f) { return !belongs(f.truth); });
            std::erase_if(o.missed, [&](const Band& b) { return !belongs(b); });
            o.invented.clear();
            o.wrong_role = 0;
            o.diameter_error.reset();
        }
        print_row(std::string("  ") + name, some, "");
    }
}

Nasty read_nasty(const RandomOptions& options, const fs::path& folder, Faults& faults) {
    constexpr std::size_t first_seed = 60'000;
    struct Trouble {
        const char* name;
        std::function<void(json&)> spoil;
        std::vector<std::string>
            reasons;  // any of these words in a refusal is the right reason; none: a usable photo
        std::string warning = {};  // words that its reading must warn with
    };
    const auto cover = [](double x, double y, double w, double h) {
        return [=](json& s) { s["covers"] = {{{"rect_mm", {x, y, w, h}}, {"colour", "navy"}}}; };
    };
    const auto camera = [](const char* field, const json& value) {
        return [=](json& s) { s["camera"][field] = value; };
    };
    const Trouble troubles[] = {
        {"burnt", camera("exposure", 3.0), {"blown out", "clipped"}},
        {"dark", camera("exposure", 0.03), {"dark", "no light"}},
        {"half covered", cover(66, -60, 240, 240), {"fiducials"}},
        {"no card", [](json& s) { s["card"] = false; }, {"no calibration card"}},
        {"oblique", camera("tilt_deg", {42, 0}), {"obliquely"}},
        {"out of focus", camera("defocus_px", 12.0), {"sharp", "focus", "fiducial", "no calibration card"}},
        {"far", camera("view_width_mm", 900), {"too small", "nearer", "no calibration card"}},
        {"corner covered", cover(110, 66, 60, 60), {}},
        {"dirty patches", cover(50, 5, 12, 24), {}},
        {"tilted", camera("tilt_deg", {25, 10}), {}},
        {"evened out", [](json& s) { s["output"]["local_tone"] = 0.2; }, {}, "evens out bright and dark"}};

    struct Result {
        int exit_code = -1;
        bool right = false;
    };
    std::vector<Result> results(options.count);
    for_each(options, faults, [&](std::size_t i) {
        const std::string seed = std::to_string(options.seed + first_seed + i);
        const Trouble& trouble = troubles[i % std::size(troubles)];
        const fs::path base = folder / ("nasty-" + seed);
        const json truth = drawn_changed(options, seed, base, "phone", seed, options.cameras, trouble.spoil);
        const Outcome o =
            read(options.tool, {folder / truth.at("photo").get<std::string>()}, truth, trouble.name);
        Result& result = results[i];
        result.exit_code = o.exit_code;
        if (o.exit_code == cannot_measure) {
            for (const std::string& words : trouble.reasons)
                result.right = result.right || o.message.find(words) != std::string::npos;
        } else if (o.exit_code == 0) {
            // One band in twenty may lie outside; of few bands, one.
            std::size_t outside = 0;
            for (const FoundBand& f : o.found) outside += f.distance_squared >= region_95;
            result.right = outside <= std::max<std::size_t>(1, o.found.size() / 10) && !o.found.empty() &&
                           o.warnings.find(trouble.warning) != std::string::npos;
        }
        if (options.bands)
            std::printf("  %s %s: exit %d, %s %s\n", base.filename().c_str(), trouble.name, o.exit_code,
                        result.right ? "as it should" : "NOT as it should", o.message.c_str());
    });
    Nasty all;
    for (const Result& r : results) {
        ++all.photos;
        if (r.exit_code == cannot_measure) ++(r.right ? all.refused_rightly : all.refused_otherwise);
        if (r.exit_code == 0) ++(r.right ? all.read_within : all.read_beyond);
    }
    return all;
}

}  // namespace bindhue::accuracy

// How well does the tool read photographs whose colours are known? The sample photos, and scenes that the renderer draws at random,
// through the program `bindhue` itself. See README.md beside this file.
#include <sys/wait.h>
#include <algorithm>
#include <atomic>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <map>
#include <optional>
#include <sstream>
#include <string>
#include <thread>
#include <vector>

#include <CLI/CLI.hpp>
#include <nlohmann/json.hpp>

#include "colour/difference.hpp"
#include "colour/reading.hpp"

namespace fs = std::filesystem;
using nlohmann::json;
using namespace bindhue;

namespace {

constexpr int cannot_measure = 4;
// 95 % of a Gaussian in three dimensions lie within this squared distance (chi squared, three degrees of freedom).
constexpr double region_95 = 7.815;

const fs::path source = BINDHUE_SOURCE_DIR;

std::string text_of(const fs::path& path) {
    std::ifstream in(path, std::ios::binary);
    std::ostringstream out;
    out << in.rdbuf();
    return out.str();
}

std::string quoted(const std::string& text) {
    std::string out = "'";
    for (const char c : text) out += c == '\'' ? std::string("'\\''") : std::string(1, c);
    return out + "'";
}

struct Ran {
    int exit_code = -1;  // -1: ended by a signal
    std::string out, err;
};

Ran run(const std::vector<std::string>& words, const fs::path& folder) {
    std::string command;
    for (const std::string& word : words) command += quoted(word) + ' ';
    const fs::path out = folder / "stdout", err = folder / "stderr";
    const int status =
        std::system((command + ">" + quoted(out.string()) + " 2>" + quoted(err.string())).c_str());
    return {WIFEXITED(status) ? WEXITSTATUS(status) : -1, text_of(out), text_of(err)};
}

// A folder of one photo's own, gone with it. The program under test sees nothing else of the scene.
class Desk {
  public:
    Desk() {
        std::string name = (fs::temp_directory_path() / "bindhue-accuracy-XXXXXX").string();
        if (::mkdtemp(name.data()) == nullptr) throw std::runtime_error("no temporary folder can be made");
        path = name;
    }
    Desk(const Desk&) = delete;
    Desk& operator=(const Desk&) = delete;
    ~Desk() {
        std::error_code ignored;
        fs::remove_all(path, ignored);
    }
    fs::path path;
};

struct Band {
    double start = 0, length = 0;
    std::string role;
    Reading colour;  // of a truth: without covariance

    double end() const { return start + length; }
};

std::vector<Band> bands_of(const json& document) {
    std::vector<Band> out;
    for (const json& b : document.at("bands")) {
        Band band{b.at("start_mm"), b.at("length_mm"), b.at("role"), {}};
        band.colour.lab = Lab<D50>::from(b.at("lab").get<std::array<double, 3>>());
        if (b.contains("covariance"))
            for (std::size_t i = 0; i < 3; ++i)
                for (std::size_t k = 0; k < 3; ++k) {
                    band.colour.covariance(i, k) = b["covariance"][i][k];
                    band.colour.shared(i, k) = b["shared_covariance"][i][k];
                }
        out.push_back(std::move(band));
    }
    return out;
}

// Length in common over length of both together.
double overlap(const Band& a, const Band& b) {
    const double common = std::min(a.end(), b.end()) - std::max(a.start, b.start);
    return common <= 0 ? 0 : common / (std::max(a.end(), b.end()) - std::min(a.start, b.start));
}

struct FoundBand {
    Band truth, read;
    double delta_e = 0, distance_squared = 0;
    std::vector<double> edge_errors;  // mm; the ends of the opening are no edges
};

struct Outcome {
    std::string name;
    int exit_code = -1;
    std::string message;  // of the program, where it did not read
    json truth;
    std::vector<FoundBand> found;
    std::vector<Band> missed, invented;
    std::size_t wrong_role = 0;
    std::optional<double> diameter_error;  // share
};

void compare(const json& reading, Outcome& out) {
    const std::vector<Band> truths = bands_of(out.truth), reads = bands_of(reading);
    std::vector<bool> used(reads.size());
    for (std::size_t t = 0; t < truths.size(); ++t) {
        const Band& truth = truths[t];
        // More than half in common: no other band can have as much.
        const auto read =
            std::find_if(reads.begin(), reads.end(), [&](const Band& b) { return overlap(truth, b) > 0.5; });
        if (read == reads.end()) {
            out.missed.push_back(truth);
            continue;
        }
        used[static_cast<std::size_t>(read - reads.begin())] = true;
        FoundBand f{truth,
                    *read,
                    ciede2000(truth.colour.lab, read->colour.lab),
                    mahalanobis_squared(truth.colour.lab, read->colour),
                    {}};
        if (t > 0) f.edge_errors.push_back(std::abs(read->start - truth.start));
        if (t + 1 < truths.size()) f.edge_errors.push_back(std::abs(read->end() - truth.end()));
        if (read->role != truth.role) ++out.wrong_role;
        out.found.push_back(std::move(f));
    }
    for (std::size_t i = 0; i < reads.size(); ++i)
        if (!used[i]) out.invented.push_back(reads[i]);
    if (!reading.at("blank_diameter_mm").is_null()) {
        const json& rod = out.truth.at("rod");
        const double truth =
            (rod.at("diameter_mm_left").get<double>() + rod.at("diameter_mm_right").get<double>()) / 2;
        out.diameter_error = std::abs(reading["blank_diameter_mm"].get<double>() / truth - 1);
    }
}

// Several photos of one rod are read as one; the truth is that of the first.
Outcome read(const std::string& tool, const std::vector<fs::path>& photos, const json& truth,
             const std::string& name) {
    Outcome out;
    out.name = name;
    out.truth = truth;
    const Desk desk;
    std::vector<std::string> words{tool, "read", "--card", (source / "samples/card.json").string(), "--json"};
    for (const fs::path& photo : photos) {
        const fs::path copy =
            desk.path / ("photo" + std::to_string(words.size()) + photo.extension().string());
        fs::copy_file(photo, copy);
        words.push_back(copy.string());
    }
    if (truth.at("kind") == "linear") words.push_back("--linear");
    const Ran ran = run(words, desk.path);
    out.exit_code = ran.exit_code;
    out.message = ran.err;
    if (ran.exit_code == 0) compare(json::parse(ran.out), out);
    return out;
}

double quantile(std::vector<double> values, double p) {
    if (values.empty()) return std::nan("");
    std::sort(values.begin(), values.end());
    const double at = p * static_cast<double>(values.size() - 1);
    const auto below = static_cast<std::size_t>(at);
    const std::size_t above = std::min(below + 1, values.size() - 1);
    return values[below] + (at - static_cast<double>(below)) * (values[above] - values[below]);
}

struct Summary {
    std::size_t photos = 0, refused = 0, found = 0, missed = 0, invented = 0, wrong_role = 0, inside = 0;
    std::vector<double> delta_e, edges, widths, diameters;
};

Summary summary_of(const std::vector<Outcome>& outcomes) {
    Summary s;
    for (const Outcome& o : outcomes) {
        ++s.photos;
        if (o.exit_code != 0) ++s.refused;
        s.found += o.found.size();
        s.missed += o.missed.size();
        s.invented += o.invented.size();
        s.wrong_role += o.wrong_role;
        for (const FoundBand& f : o.found) {
            s.delta_e.push_back(f.delta_e);
            if (f.distance_squared < region_95) ++s.inside;
            s.edges.insert(s.edges.end(), f.edge_errors.begin(), f.edge_errors.end());
            if (f.edge_errors.size() == 2) s.widths.push_back(std::abs(f.read.length - f.truth.length));
        }
        if (o.diameter_error) s.diameters.push_back(*o.diameter_error);
    }
    return s;
}

void print_head() {
    std::printf("%-18s %6s %7s %6s %6s %8s %5s  %-13s %-11s %7s  %-11s %-11s %s\n", "kind", "photos",
                "refused", "found", "missed", "invented", "role", "CIEDE2000", "target", "inside", "edge mm",
                "width mm", "diameter %");
    std::printf("%-18s %6s %7s %6s %6s %8s %5s  %-13s %-11s %7s  %-11s %-11s %s\n", "", "", "", "bands",
                "bands", "bands", "wrong", "med / p95", "med / p95", "95 %", "med / p95", "med / p95",
                "med / p95");
}

void print_row(const std::string& kind, const std::vector<Outcome>& outcomes, const char* target) {
    const Summary s = summary_of(outcomes);
    const auto pair = [](const std::vector<double>& values, const char* format, double scale = 1) {
        char text[64];
        std::snprintf(text, sizeof text, format, scale * quantile(values, 0.5),
                      scale * quantile(values, 0.95));
        return values.empty() ? std::string("-") : std::string(text);
    };
    char inside[16];
    std::snprintf(
        inside, sizeof inside, "%.0f %%",
        s.found == 0 ? std::nan("") : 100.0 * static_cast<double>(s.inside) / static_cast<double>(s.found));
    std::printf("%-18s %6zu %7zu %6zu %6zu %8zu %5zu  %-13s %-11s %7s  %-11s %-11s %s\n", kind.c_str(),
                s.photos, s.refused, s.found, s.missed, s.invented, s.wrong_role,
                pair(s.delta_e, "%.2f / %.2f").c_str(), target, inside, pair(s.edges, "%.2f / %.2f").c_str(),
                pair(s.widths, "%.2f / %.2f").c_str(), pair(s.diameters, "%.1f / %.1f", 100).c_str());
    std::fflush(stdout);
}

void print_bands(const Outcome& o) {
    if (o.exit_code != 0) std::printf("  %s: exit %d: %s", o.name.c_str(), o.exit_code, o.message.c_str());
    for (const FoundBand& f : o.found) {
        const Lab<D50>&t = f.truth.colour.lab, &r = f.read.colour.lab;
        std::printf(
            "  %-16s %-5s at %5.1f, %4.1f mm: truth %5.1f %5.1f %5.1f, read %5.1f %5.1f %5.1f, CIEDE2000 "
            "%5.2f, distance^2 %6.2f%s\n",
            o.name.c_str(), f.truth.role.c_str(), f.truth.start, f.truth.length, t.L, t.a, t.b, r.L, r.a, r.b,
            f.delta_e, f.distance_squared,
            f.truth.role == f.read.role ? "" : (" called " + f.read.role).c_str());
    }
    const auto print = [&](const char* what, const std::vector<Band>& bands) {
        for (const Band& b : bands)
            std::printf("  %-16s %-5s at %5.1f, %4.1f mm: %s\n", o.name.c_str(), b.role.c_str(), b.start,
                        b.length, what);
    };
    print("missed", o.missed);
    print("invented", o.invented);
}

// What is not as it must be, one sentence each; empty in the end, or the run has failed.
struct Faults {
    std::vector<std::string> list;
    void check(bool good, const std::string& sentence) {
        if (!good) list.push_back(sentence);
    }
};

// Bounds of each sample photo: the largest CIEDE2000 of any of its bands. No band may be missed or invented. They
// are floors a little under what is measured (README.md), not aims.
const std::map<std::string, double> sample_bounds{
    {"noon", 4.5}, {"door", 5}, {"cane", 7}, {"dusk", 4}, {"navy", 4}};

// What the refusal of a sample photo must say.
const std::map<std::string, std::string> sample_refusals{{"burnt", "blown out"},
                                                         {"hidden", "fiducials were found on one side"},
                                                         {"nocard", "no calibration card"}};

std::vector<Outcome> read_samples(const std::string& tool, Faults& faults, bool show_bands) {
    std::vector<Outcome> read_ones;
    std::vector<fs::path> truths;
    for (const auto& entry : fs::directory_iterator(source / "samples/photos"))
        if (entry.path().string().ends_with(".truth.json")) truths.push_back(entry.path());
    std::sort(truths.begin(), truths.end());
    faults.check(truths.size() == sample_bounds.size() + sample_refusals.size(),
                 "samples/photos holds other photos than this program has bounds for");
    for (const fs::path& path : truths) {
        const json truth = json::parse(text_of(path));
        const std::string name = path.filename().string().substr(0, path.filename().string().find('.'));
        Outcome o = read(tool, {path.parent_path() / truth.at("photo").get<std::string>()}, truth, name);
        if (show_bands) print_bands(o);
        if (truth.at("expect") == "refuse") {
            const auto reason = sample_refusals.find(name);
            faults.check(
                o.exit_code == cannot_measure,
                name + " was to be refused (exit 4), and ended with exit " + std::to_string(o.exit_code));
            faults.check(
                reason != sample_refusals.end() && o.message.find(reason->second) != std::string::npos,
                name + " was refused for another reason than it has: " + o.message);
            continue;
        }
        faults.check(o.exit_code == 0, name + " was not read: " + o.message);
        const auto bound = sample_bounds.find(name);
        if (bound != sample_bounds.end()) {
            faults.check(o.missed.empty(), name + ": " + std::to_string(o.missed.size()) + " bands missed");
            faults.check(o.invented.empty(),
                         name + ": " + std::to_string(o.invented.size()) + " bands invented");
            for (const FoundBand& f : o.found)
                faults.check(f.delta_e < bound->second,
                             name + ": the " + f.truth.role + " at " + std::to_string(f.truth.start) +
                                 " mm errs by CIEDE2000 " + std::to_string(f.delta_e) + ", bound " +
                                 std::to_string(bound->second));
        }
        read_ones.push_back(std::move(o));
    }
    return read_ones;
}

// The main job: which spool, coated how, looks like the old wrap?
void match_door(const std::string& tool, Faults& faults) {
    const Desk desk;
    fs::copy_file(source / "samples/photos/door.jpg", desk.path / "photo.jpg");
    const Ran ran = run(
        {tool, "match", (desk.path / "photo.jpg").string(), "--card", (source / "samples/card.json").string(),
         "--shop", (source / "palettes/demo-shop").string(), "--json"},
        desk.path);
    faults.check(ran.exit_code == 0, "match of door.jpg failed: " + ran.err);
    if (ran.exit_code != 0) return;
    std::string first_three;
    bool right = false;
    const json answer = json::parse(ran.out);
    const json& candidates = answer.at("candidates");
    for (std::size_t i = 0; i < std::min<std::size_t>(3, candidates.size()); ++i) {
        const std::string row = candidates[i].at("spool").get<std::string>() + " " +
                                candidates[i].at("schedule").get<std::string>();
        right = right || row == "R1-12 finish";
        first_three += (i == 0 ? "" : ", ") + row;
    }
    std::printf("match of door.jpg: %s (right: R1-12 finish)\n", first_three.c_str());
    faults.check(right,
                 "match of door.jpg does not have R1-12 with finish in its first three: " + first_three);
}

struct Kind {
    const char *name, *kind, *lights, *target;
    std::size_t first_seed;  // from --seed: no two kinds show the same rod
};
// Targets: median and 95th percentile of CIEDE2000; none is set for phones under any light.
constexpr Kind kinds[] = {{"linear, fair", "linear", "fair", "0.8 / 2.1", 0},
                          {"phone, fair", "phone", "fair", "1.3 / 3.0", 10'000},
                          {"linear, any light", "linear", "any", "1.5 / 5.0", 20'000},
                          {"phone, any light", "phone", "any", "-", 30'000}};

struct Options {
    std::string tool = BINDHUE_BINARY, render = RENDER_BINARY,
                cameras = (source / "samples/cameras.json").string(), folder, only;
    std::size_t count = 0, seed = 71'000, jobs = 2;
    bool bands = false, pairs = false;
};

// Draws a random scene, if it is not there yet, and gives its truth.
json drawn(const Options& options, const std::string& seed, const fs::path& base, const std::string& kind,
           const std::string& lights, const std::string& shot, const fs::path& cameras) {
    const fs::path truth_path = base.string() + ".truth.json";
    if (!fs::exists(truth_path)) {
        const Desk desk;
        std::vector<std::string> words{options.render, "random",
                                       seed,           base.string(),
                                       "--kind",       kind,
                                       "--lights",     lights,
                                       "--card",       (source / "calibration/card.json").string(),
                                       "--cameras",    cameras.string()};
        if (!shot.empty()) words.insert(words.end(), {"--shot", shot});
        const Ran ran = run(words, desk.path);
        if (ran.exit_code != 0) throw std::runtime_error("render: " + ran.err);
    }
    return json::parse(text_of(truth_path));
}

std::vector<Outcome> read_random(const Options& options, const Kind& kind, const fs::path& folder,
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
                              base.filename().string());
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

// Two photos of one rod by one camera, in linear light.
struct Pair {
    const char* lights[2];
};
constexpr Pair unlike_lights[] = {
    {{"D65", "A"}}, {{"D65", "F11"}}, {{"F11", "LED-B3"}}, {{"D50", "F2"}}, {{"LED-B3", "A"}}};
constexpr const char* two_lights = "two lights, linear";
constexpr const char* difference = "difference, linear";
constexpr std::size_t pair_seed = 40'000, difference_seed = 50'000;

struct Difference {
    std::size_t bands = 0, inside = 0;
    std::vector<double> delta_e;
};

// Each camera in a file of its own, so that both photos of a pair are by the same.
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

// The work of one pair after another, on as many threads as there are jobs.
template <class Work>
void for_each_pair(const Options& options, Faults& faults, const Work& work) {
    std::vector<std::string> broken(options.count);
    std::atomic<std::size_t> next{0};
    std::vector<std::thread> workers;
    for (std::size_t k = 0; k < options.jobs; ++k)
        workers.emplace_back([&] {
            for (std::size_t i = next++; i < options.count; i = next++) try {
                    work(i);
                } catch (const std::exception& e) {
                    broken[i] = std::string("pair ") + std::to_string(i) + ": " + e.what();
                }
        });
    for (std::thread& worker : workers) worker.join();
    for (const std::string& sentence : broken) faults.check(sentence.empty(), sentence);
}

std::vector<Outcome> read_two_lights(const Options& options, const fs::path& folder, Faults& faults) {
    std::vector<Outcome> out(options.count);
    const std::vector<fs::path> cameras = cameras_apart(options.cameras, folder);
    for_each_pair(options, faults, [&](std::size_t i) {
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

// How far two readings of the same bands are apart, by the same camera and card, under the same light.
Difference read_differences(const Options& options, const fs::path& folder, Faults& faults) {
    std::vector<Difference> parts(options.count);
    const std::vector<fs::path> cameras = cameras_apart(options.cameras, folder);
    const char* lights[] = {"D50", "D65", "LED-B3"};
    for_each_pair(options, faults, [&](std::size_t i) {
        const std::string seed = std::to_string(options.seed + difference_seed + i);
        const fs::path base = folder / ("difference-" + seed);
        std::vector<Outcome> both;
        for (std::size_t k = 0; k < 2; ++k) {
            const fs::path shot = base.string() + (k == 0 ? "a" : "b");
            const json truth = drawn(options, seed, shot, "linear", lights[i % std::size(lights)],
                                     std::to_string(2 * i + k + 1), cameras[i % cameras.size()]);
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

// Under these no colour measurement is left; far above what is measured (README.md), for a run may be of very few scenes.
void check_random(const std::vector<Outcome>& outcomes, Faults& faults) {
    const Summary s = summary_of(outcomes);
    if (s.photos == 0) return;
    faults.check(4 * s.refused <= s.photos, std::to_string(s.refused) + " of " + std::to_string(s.photos) +
                                                " random photos were refused");
    faults.check(s.found >= 3 * s.missed, std::to_string(s.missed) +
                                              " bands of random photos were missed, and " +
                                              std::to_string(s.found) + " found");
    faults.check(quantile(s.delta_e, 0.5) < 4, "bands of random photos err by a median CIEDE2000 of " +
                                                   std::to_string(quantile(s.delta_e, 0.5)));
}

}  // namespace

int main(int argc, char** argv) {
    Options options;
    CLI::App app(
        "Reads photographs whose colours are known and prints how well; fails if the samples are read worse "
        "than their bounds.");
    app.add_option("--count", options.count, "Random scenes of each kind, besides the samples")
        ->capture_default_str();
    app.add_option("--seed", options.seed, "Of the first random scene; the next ones follow")
        ->capture_default_str();
    app.add_option("--kind", options.only,
                   "Only this kind, as its row is named, for example \"phone, fair\"");
    app.add_option(
        "--cameras", options.cameras,
        "Sensitivities of other cameras than the invented ones, in the format of samples/cameras.json");
    app.add_option("--folder", options.folder,
                   "Keep the random scenes here, and read those that are there already");
    app.add_option("--jobs", options.jobs, "Photos at a time")
        ->check(CLI::Range(1, 64))
        ->capture_default_str();
    app.add_option("--tool", options.tool, "The program under test");
    app.add_flag("--bands", options.bands, "Print each band too");
    app.add_flag("--pairs", options.pairs,
                 "Read pairs of photos too: two lights as one reading, and the difference of two readings");
    CLI11_PARSE(app, argc, argv);

    try {
        Faults faults;
        const std::vector<Outcome> samples = read_samples(options.tool, faults, options.bands);
        print_head();
        print_row("samples", samples, "-");

        const Desk temporary;
        const fs::path folder = options.folder.empty() ? temporary.path : fs::path(options.folder);
        fs::create_directories(folder);
        std::vector<Outcome> all;
        for (const Kind& kind : kinds) {
            if (options.count == 0 || (!options.only.empty() && options.only != kind.name)) continue;
            std::vector<Outcome> outcomes = read_random(options, kind, folder, faults);
            print_row(kind.name, outcomes, kind.target);
            if (options.bands)
                for (const Outcome& o : outcomes) print_bands(o);
            std::move(outcomes.begin(), outcomes.end(), std::back_inserter(all));
        }
        const auto wanted = [&](const char* kind) {
            return options.count > 0 && (options.only.empty() ? options.pairs : options.only == kind);
        };
        if (wanted(two_lights)) {
            const std::vector<Outcome> outcomes = read_two_lights(options, folder, faults);
            print_row(two_lights, outcomes, "0.7 / 2.0");
            if (options.bands)
                for (const Outcome& o : outcomes) print_bands(o);
        }
        if (wanted(difference)) {
            const Difference d = read_differences(options, folder, faults);
            std::printf(
                "%-18s %6zu pairs, %zu bands: CIEDE2000 between two readings %.2f / %.2f (target 0.4 / "
                "1.0), inside 95 %%: %.0f %%\n",
                difference, options.count, d.bands, quantile(d.delta_e, 0.5), quantile(d.delta_e, 0.95),
                d.bands == 0 ? std::nan("")
                             : 100.0 * static_cast<double>(d.inside) / static_cast<double>(d.bands));
        }
        check_random(all, faults);
        match_door(options.tool, faults);
        for (const std::string& sentence : faults.list)
            std::cerr << "not as it must be: " << sentence << '\n';
        return faults.list.empty() ? 0 : 1;
    } catch (const std::exception& e) {
        std::cerr << "read_accuracy: " << e.what() << '\n';
        return 1;
    }
}

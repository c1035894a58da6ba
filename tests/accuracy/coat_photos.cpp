// What photos tell of coats: the opacity of a layer from a stick of two tones, the look as new from an amber wrap and a mark beside it, and whether the
// right spool and schedule are among the first three for a finished wrap. Photos are drawn by `render random`; the program bindhue sees them alone.
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <map>

#include "colour/difference.hpp"
#include "colour/opacity.hpp"
#include "photo_trial.hpp"

namespace {

using namespace bindhue;
using namespace bindhue::accuracy;

const std::string tool = BINDHUE_BINARY, renderer = RENDER_BINARY;

Lab<D50> lab_of(const json& j) { return {j.at(0), j.at(1), j.at(2)}; }
Matrix3 matrix_of(const json& j) {
    Matrix3 out;
    for (std::size_t i = 0; i < 3; ++i)
        for (std::size_t k = 0; k < 3; ++k) out(i, k) = j.at(i).at(k);
    return out;
}
std::string text_of_lab(const json& lab) {
    char text[100];
    std::snprintf(text, sizeof text, "%.3f,%.3f,%.3f", lab.at(0).get<double>(), lab.at(1).get<double>(), lab.at(2).get<double>());
    return text;
}

struct Photo {
    json truth;
    fs::path file;
};

Photo drawn(const std::string& what, int seed, const std::string& kind, const fs::path& folder) {
    const std::string base = (folder / (what + "-" + kind + "-" + std::to_string(seed))).string();
    if (!fs::exists(base + ".truth.json")) {
        const Ran ran = run({renderer, "random", std::to_string(seed), base, "--what", what, "--kind", kind, "--card", (source() / "calibration/card.json").string(), "--cameras",
                             (source() / "samples/cameras.json").string()},
                            folder);
        if (ran.exit_code != 0) throw std::runtime_error("render: " + ran.err);
    }
    Photo out{json::parse(text_of(base + ".truth.json")), {}};
    out.file = folder / out.truth.at("photo").get<std::string>();
    return out;
}

// A shop of its own: the demo rack, and coat tests drawn for it.
void stock(const fs::path& shop, const std::string& coat_tests) {
    fs::create_directories(shop);
    fs::copy_file(source() / "palettes/demo-shop/spools.json", shop / "spools.json");
    if (coat_tests.empty()) return;
    std::ofstream(shop / "tests.csv") << coat_tests;
    const Ran ran = run({tool, "coat", "add", "--table", (shop / "tests.csv").string(), "--shop", shop.string()}, shop);
    if (ran.exit_code != 0) throw std::runtime_error("coat add: " + ran.err);
}

json spool_of(const std::string& code) {
    static const json rack = json::parse(text_of(source() / "palettes/demo-shop/spools.json"));
    for (const json& s : rack.at("spools"))
        if (s.at("code") == code) return s;
    throw std::runtime_error("no spool " + code);
}

// 20 tests of each material and schedule, by plates, as photos have it.
std::string twenty_of_each(int seed, const fs::path& folder) {
    const fs::path table = folder / "coats.csv";
    const Ran ran = run({renderer, "coats", std::to_string(seed), table.string(), "--count", "400", "--noise", "0.4"}, folder);
    if (ran.exit_code != 0) throw std::runtime_error("render: " + ran.err);
    std::istringstream lines(text_of(table));
    std::string head, line, out;
    std::getline(lines, head);
    out = head + "\n";
    std::map<std::string, int> taken;
    while (std::getline(lines, line)) {
        std::istringstream fields(line);
        std::string material, size, schedule;
        std::getline(fields, material, ',');
        std::getline(fields, size, ',');
        std::getline(fields, schedule, ',');
        if (++taken[material + schedule] <= 20) out += line + "\n";
    }
    return out;
}

std::vector<std::string> with_card(std::vector<std::string> words) {
    for (const std::string& word : {std::string("--card"), (source() / "samples/card.json").string(), std::string("--json")}) words.push_back(word);
    return words;
}

struct Sticks {
    int photos = 0, answered = 0, measured = 0, inside = 0;
    std::vector<double> off, contrast_off;
    std::map<std::string, int> refusals;
};

// Where the stick's parts meet, as a ruler tells it: to half a millimetre; what is too near the opening's ends is not seen.
std::string edges_by_ruler(const json& truth) {
    std::string out;
    for (std::size_t i = 1; i < truth.at("bands").size(); ++i) {
        const double at = std::round(2 * truth.at("bands")[i].at("start_mm").get<double>()) / 2;
        if (at < 3 || at > 117) continue;
        char text[30];
        std::snprintf(text, sizeof text, "%s%.1f", out.empty() ? "" : ",", at);
        out += text;
    }
    return out;
}

Sticks read_sticks(const std::string& kind, int first, int count, const fs::path& folder) {
    Sticks out;
    for (int seed = first; seed < first + count; ++seed) {
        const Photo photo = drawn("stick", seed, kind, folder);
        const Desk desk;
        stock(desk.path / "shop", "");
        ++out.photos;
        // Of the truth's bands the stick's four: the bare dowel may show beyond.
        json bands = json::array();
        const json& whole = photo.truth.at("bands");
        for (std::size_t i = 1; i + 2 < whole.size() && bands.empty(); ++i)
            if (whole[i].contains("spool"))
                for (std::size_t k = 0; k < 4; ++k) bands.push_back(whole[i - 1 + k]);
        const std::string code = bands.at(1).at("spool");
        std::vector<std::string> words{tool, "coat", "opacity", photo.file.string(), "--spool", code, "--shop", (desk.path / "shop").string()};
        Ran ran = run(with_card(words), desk.path);
        if (ran.exit_code == cannot_measure) {
            words.push_back("--edges");
            words.push_back(edges_by_ruler(photo.truth));
            ++out.measured;
            ran = run(with_card(words), desk.path);
        }
        if (ran.exit_code != 0) {
            ++out.refusals[ran.err.substr(0, ran.err.find('\n'))];
            continue;
        }
        ++out.answered;
        const json said = json::parse(ran.out), spool = spool_of(code);
        const bool black_first = bands.front().at("lab").at(0) < bands.back().at("lab").at(0);
        const auto set = [&](Reading& reading, std::size_t k) { reading.lab = lab_of(bands.at(black_first ? k : 3 - k).at("lab")); };
        OpacityTest exact;
        exact.spool.lab = lab_of(spool.at("readings").at(0).at("lab"));
        set(exact.black, 0);
        set(exact.over_black, 1);
        set(exact.over_white, 2);
        set(exact.white, 3);
        const auto truth = find_opacity(*parse_material(spool.at("material").get<std::string>()), spool.at("size_mm"), exact);
        if (!truth) continue;
        const double gap = std::log(said.at("scattering").get<double>() / truth->layer.scattering);
        out.off.push_back(std::abs(gap));
        out.inside += std::abs(gap) < 1.96 * std::hypot(said.at("log_sd").get<double>(), truth->layer.log_sd);
        out.contrast_off.push_back(std::abs(said.at("contrast_ratio").get<double>() - truth->contrast_ratio));
    }
    return out;
}

struct Aged {
    int photos = 0, wraps = 0, answered = 0, inside = 0;
    std::vector<double> left, undone;
    std::map<std::string, int> refusals;
};

Aged read_aged(const std::string& kind, int first, int count, const fs::path& folder) {
    Aged out;
    for (int seed = first; seed < first + count; ++seed) {
        const Photo photo = drawn("aged", seed, kind, folder);
        const Desk desk;
        stock(desk.path / "shop", "");
        ++out.photos;
        const Ran ran = run(with_card({tool, "read", photo.file.string()}), desk.path);
        if (ran.exit_code != 0) {
            ++out.refusals[ran.err.substr(0, ran.err.find('\n'))];
            continue;
        }
        const json read = json::parse(ran.out);
        std::vector<std::size_t> marks;
        // The blank may be as pale as the mark, which begins at 6 mm.
        for (const json& b : photo.truth.at("bands"))
            if (b.at("start_mm") > 5 && b.at("start_mm") < 20) marks.push_back(band_over(read, b));
        for (const json& b : photo.truth.at("bands")) {
            if (!b.contains("as_new_lab")) continue;
            ++out.wraps;
            const std::size_t wrap = band_over(read, b);
            if (marks.size() < 2 || wrap == 0 || marks[0] == 0 || marks[1] == 0 || marks[0] == marks[1]) {
                ++out.refusals["the mark, bare and under the finish, was not read as two bands"];
                continue;
            }
            const Ran matched = run(with_card({tool, "match", photo.file.string(), "--band", std::to_string(wrap), "--as-new", "--amber-bare", std::to_string(marks[0]), "--amber-coated",
                                               std::to_string(marks[1]), "--top", "1", "--shop", (desk.path / "shop").string()}),
                                    desk.path);
            if (matched.exit_code != 0) {
                ++out.refusals[matched.err.substr(0, matched.err.find('\n'))];
                continue;
            }
            ++out.answered;
            const json target = json::parse(matched.out).at("target");
            const Lab<D50> as_new = lab_of(b.at("as_new_lab"));
            out.left.push_back(ciede2000(lab_of(read.at("bands")[wrap - 1].at("lab")), as_new));
            out.undone.push_back(ciede2000(lab_of(target.at("lab")), as_new));
            out.inside += mahalanobis_squared(as_new, {lab_of(target.at("lab")), matrix_of(target.at("covariance")), {}}) < region_95;
        }
    }
    return out;
}

struct Matches {
    int photos = 0, refused = 0, wraps = 0, first = 0, three = 0, five = 0, spool_three = 0, twin_three = 0;
    std::map<std::string, int> refusals;
};

Matches match_wraps(const std::string& kind, int first, int count, const fs::path& folder, const fs::path& shop) {
    Matches out;
    for (int seed = first; seed < first + count; ++seed) {
        const Photo photo = drawn("wraps", seed, kind, folder);
        const Desk desk;
        ++out.photos;
        const Ran ran = run(with_card({tool, "read", photo.file.string()}), desk.path);
        if (ran.exit_code != 0) {
            ++out.refused;
            continue;
        }
        const json read = json::parse(ran.out);
        for (const json& b : photo.truth.at("bands")) {
            if (b.at("role") != "wrap" || b.at("schedule") == "none") continue;
            const std::size_t band = band_over(read, b);
            ++out.wraps;
            if (band == 0) {
                ++out.refusals["the wrap was not read as a band"];
                continue;
            }
            // The ground is known: the blank, as it is, or white.
            const std::string ground = b.at("ground") == "white" ? "white" : text_of_lab(photo.truth.at("blank_lab"));
            const Ran matched = run(with_card({tool, "match", photo.file.string(), "--band", std::to_string(band), "--ground", ground, "--top", "5", "--shop", shop.string()}), desk.path);
            if (matched.exit_code != 0) {
                ++out.refusals[matched.err.substr(0, matched.err.find('\n'))];
                continue;
            }
            int place = 0;
            bool found = false, spool_found = false, twin = false;
            const json answer = json::parse(matched.out);
            for (const json& c : answer.at("candidates")) {
                ++place;
                const bool same_spool = c.at("spool") == b.at("spool"), same = same_spool && c.at("schedule") == b.at("schedule");
                if (same) {
                    found = true;
                    out.first += place == 1;
                    out.three += place <= 3;
                    out.five += place <= 5;
                }
                spool_found = spool_found || (same_spool && place <= 3);
                // What is wanted in the end: a finished look like it.
                twin = twin || (place <= 3 && ciede2000(lab_of(c.at("predicted_lab")), lab_of(b.at("lab"))) < 2);
            }
            out.spool_three += spool_found;
            out.twin_three += twin || found;
        }
    }
    return out;
}

std::string pair_of(const std::vector<double>& v) {
    char text[60];
    std::snprintf(text, sizeof text, "%.2f / %.2f", v.empty() ? 0 : quantile(v, 0.5), v.empty() ? 0 : quantile(v, 0.95));
    return text;
}
double share(int part, int whole) { return whole > 0 ? 100.0 * part / whole : 0; }

void print(const std::map<std::string, int>& refusals) {
    for (const auto& [why, times] : refusals) std::printf("    %d refused: %s\n", times, why.c_str());
}

}  // namespace

int main(int argc, char** argv) {
    // coat_photos FIRST_SEED COUNT [FOLDER|- [sticks|aged|matches]]; photos that are in the folder already are not drawn again
    if (argc < 3) return 2;
    const int first = std::atoi(argv[1]), count = std::atoi(argv[2]);
    const Desk own;
    const fs::path folder = argc > 3 && std::string(argv[3]) != "-" ? fs::path(argv[3]) : own.path;
    const std::string only = argc > 4 ? argv[4] : "";
    fs::create_directories(folder);
    bool sound = true;
    for (const std::string kind : {"linear", "phone"}) {
        const int offset = kind == "phone" ? 500 : 0;
        if (only.empty() || only == "sticks") {
            const Sticks s = read_sticks(kind, first + offset, count, folder);
            std::printf("%-7s sticks: %d photos, %d answered (%d with edges given), log scattering off by %s, inside 95 %%: %.0f %%, contrast ratio off by %s\n", kind.c_str(), s.photos, s.answered,
                        s.measured, pair_of(s.off).c_str(), share(s.inside, static_cast<int>(s.off.size())), pair_of(s.contrast_off).c_str());
            print(s.refusals);
            sound = sound && 2 * s.answered > s.photos && share(s.inside, static_cast<int>(s.off.size())) > 70;
        }
        if (only.empty() || only == "aged") {
            const Aged a = read_aged(kind, first + offset, count, folder);
            std::printf("%-7s aged: %d photos, %d of %d wraps answered, as it is %s, as new %s CIEDE2000, inside 95 %%: %.0f %%\n", kind.c_str(), a.photos, a.answered, a.wraps, pair_of(a.left).c_str(),
                        pair_of(a.undone).c_str(), share(a.inside, a.answered));
            print(a.refusals);
            sound = sound && a.answered > 0 && share(a.inside, a.answered) > 70;
        }
        if (only.empty() || only == "matches") {
            const Desk shop;
            stock(shop.path / "shop", twenty_of_each(first, shop.path));
            const Matches m = match_wraps(kind, first + offset, count, folder, shop.path / "shop");
            std::printf("%-7s matches: %d photos (%d refused), %d wraps; right spool and schedule first %.0f %%, in three %.0f %%, in five %.0f %%; right spool in three %.0f %%; a look within 2 in three %.0f %%\n",
                        kind.c_str(), m.photos, m.refused, m.wraps, share(m.first, m.wraps), share(m.three, m.wraps), share(m.five, m.wraps), share(m.spool_three, m.wraps), share(m.twin_three, m.wraps));
            print(m.refusals);
            sound = sound && share(m.three, m.wraps) > 50;
        }
        std::fflush(stdout);
    }
    if (!sound) std::puts("FAILED: half of the sticks or all marks give no answer, a region holds less than 70 %, or the right spool is in the first three in less than half");
    return sound ? 0 : 1;
}

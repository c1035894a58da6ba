#include "photo_trial.hpp"

#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <sstream>

#include "colour/difference.hpp"

namespace bindhue::accuracy {
namespace {

std::string quoted(const std::string& text) {
    std::string out = "'";
    for (const char c : text) out += c == '\'' ? std::string("'\\''") : std::string(1, c);
    return out + "'";
}

std::vector<Band> bands_of(const json& document) {
    std::vector<Band> out;
    for (const json& b : document.at("bands")) {
        Band band;
        band.start = b.at("start_mm");
        band.length = b.at("length_mm");
        band.role = b.at("role");
        band.colour.lab = Lab<D50>::from(b.at("lab").get<std::array<double, 3>>());
        band.two_coloured = b.contains("colours") && !b["colours"].empty();
        band.fluorescent = b.contains("fluorescent");
        if (b.contains("warnings"))
            for (const std::string warning : b["warnings"]) band.fluorescent |= warning.find("fluorescent") != std::string::npos;
        if (b.contains("metallic") && !b["metallic"].is_null()) {
            // As the truth has them, and as a reading has.
            const auto look = [&](const std::string& which) {
                const json& of = b["metallic"];
                return Lab<D50>::from((of.contains(which) ? of[which]["lab"] : of[which + "_lab"]).get<std::array<double, 3>>());
            };
            band.looks = Looks{look("face"), look("flop")};
        }
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
    for (const json& warning : reading.at("warnings")) out.warnings += warning.get<std::string>() + '\n';
    for (const json& band : reading.at("bands"))
        for (const json& warning : band.at("warnings")) out.warnings += warning.get<std::string>() + '\n';
    for (std::size_t i = 0; i < reads.size(); ++i)
        if (!used[i]) out.invented.push_back(reads[i]);
    if (!reading.at("blank_diameter_mm").is_null()) {
        const json& rod = out.truth.at("rod");
        const double truth =
            (rod.at("diameter_mm_left").get<double>() + rod.at("diameter_mm_right").get<double>()) / 2;
        out.diameter_error = std::abs(reading["blank_diameter_mm"].get<double>() / truth - 1);
    }
}

}  // namespace

const fs::path& source() {
    static const fs::path folder = BINDHUE_SOURCE_DIR;
    return folder;
}

std::string text_of(const fs::path& path) {
    std::ifstream in(path, std::ios::binary);
    std::ostringstream out;
    out << in.rdbuf();
    return out.str();
}

Ran run(const std::vector<std::string>& words, const fs::path& folder) {
    std::string command;
    for (const std::string& word : words) command += quoted(word) + ' ';
    const fs::path out = folder / "stdout", err = folder / "stderr";
    const int status =
        std::system((command + ">" + quoted(out.string()) + " 2>" + quoted(err.string())).c_str());
    return {WIFEXITED(status) ? WEXITSTATUS(status) : -1, text_of(out), text_of(err)};
}

Desk::Desk() {
    std::string name = (fs::temp_directory_path() / "bindhue-accuracy-XXXXXX").string();
    if (::mkdtemp(name.data()) == nullptr) throw std::runtime_error("no temporary folder can be made");
    path = name;
}

Desk::~Desk() {
    std::error_code ignored;
    fs::remove_all(path, ignored);
}

Outcome read(const std::string& tool, const std::vector<fs::path>& photos, const json& truth,
             const std::string& name, const fs::path& card) {
    Outcome out;
    out.name = name;
    out.truth = truth;
    const Desk desk;
    std::vector<std::string> words{tool, "read", "--card", card.string(), "--json"};
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

std::size_t band_over(const json& read, const json& true_band) {
    const double mm = true_band.at("start_mm").get<double>() + true_band.at("length_mm").get<double>() / 2;
    for (std::size_t k = 0; k < read.at("bands").size(); ++k) {
        const double start = read.at("bands")[k].at("start_mm"), length = read.at("bands")[k].at("length_mm");
        if (mm > start && mm < start + length) return k + 1;
    }
    return 0;
}

double quantile(std::vector<double> values, double p) {
    if (values.empty()) return std::nan("");
    std::sort(values.begin(), values.end());
    const double at = p * static_cast<double>(values.size() - 1);
    const auto below = static_cast<std::size_t>(at);
    const std::size_t above = std::min(below + 1, values.size() - 1);
    return values[below] + (at - static_cast<double>(below)) * (values[above] - values[below]);
}

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

}  // namespace bindhue::accuracy

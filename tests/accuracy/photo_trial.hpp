// One photo, or several of one rod, whose colours are known: what the program `bindhue` reads in it against the truth.
#pragma once

#include <filesystem>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

#include "colour/reading.hpp"

namespace bindhue::accuracy {

namespace fs = std::filesystem;
using nlohmann::json;

inline constexpr int cannot_measure = 4;  // exit code

const fs::path& source();  // of the project

std::string text_of(const fs::path& path);

struct Ran {
    int exit_code = -1;  // -1: ended by a signal
    std::string out, err;
};

// Runs a program and waits for it; its output goes through files in the folder.
Ran run(const std::vector<std::string>& words, const fs::path& folder);

// A folder of one photo's own, gone with it. The program under test sees nothing else of the scene.
class Desk {
  public:
    Desk();
    Desk(const Desk&) = delete;
    Desk& operator=(const Desk&) = delete;
    ~Desk();
    fs::path path;
};

struct Looks {
    Lab<D50> face, flop;
};

struct Band {
    double start = 0, length = 0;
    std::string role;
    Reading colour;  // of a truth: without covariance
    bool two_coloured = false, fluorescent = false;
    std::optional<Looks> looks;  // of metallic thread, by the truth: in the photos shown

    double end() const { return start + length; }
};

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
    std::string warnings;                  // of the photo and of its bands, a line each
};

// Several photos of one rod are read as one; the truth is that of the first. `card`: its layout, by default that of the sample photos.
Outcome read(const std::string& tool, const std::vector<fs::path>& photos, const json& truth,
             const std::string& name, const fs::path& card = source() / "samples/card.json");

// Of what `bindhue read --json` printed, the number of the band that holds the middle of this one of the truth; 0: none.
std::size_t band_over(const json& read, const json& true_band);

double quantile(std::vector<double> values, double p);

struct Summary {
    std::size_t photos = 0, refused = 0, found = 0, missed = 0, invented = 0, wrong_role = 0, inside = 0;
    std::vector<double> delta_e, edges, widths, diameters;
};

Summary summary_of(const std::vector<Outcome>& outcomes);
void print_head();
void print_row(const std::string& kind, const std::vector<Outcome>& outcomes, const char* target);
void print_bands(const Outcome& outcome);

// What is not as it must be, one sentence each; empty in the end, or the run has failed.
struct Faults {
    std::vector<std::string> list;
    void check(bool good, const std::string& sentence) {
        if (!good) list.push_back(sentence);
    }
};

}  // namespace bindhue::accuracy

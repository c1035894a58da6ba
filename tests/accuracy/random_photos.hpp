// Photographs that the renderer draws at random, and how they are read.
#pragma once

#include <functional>
#include <string>
#include <vector>

#include "photo_trial.hpp"

namespace bindhue::accuracy {

struct Kind {
    const char *name, *kind, *lights, *target;
    std::size_t first_seed;  // from --seed: no two kinds show the same rod
};
// Targets: median and 95th percentile of CIEDE2000; none is set for phones under any light.
inline constexpr Kind kinds[] = {{"linear, fair", "linear", "fair", "0.8 / 2.1", 0},
                                 {"phone, fair", "phone", "fair", "1.3 / 3.0", 10'000},
                                 {"linear, any light", "linear", "any", "1.5 / 5.0", 20'000},
                                 {"phone, any light", "phone", "any", "-", 30'000}};

struct RandomOptions {
    std::string tool = BINDHUE_BINARY, render = RENDER_BINARY,
                cameras = (source() / "samples/cameras.json").string(), folder, only,
                card = (source() / "samples/card.json").string(),  // that the program is told
                threads;  // a file of reflectances for the renderer: then wraps are of such thread
    std::size_t count = 0, seed = 71'000, jobs = 2;
    bool bands = false, pairs = false, by_nuisance = false;
};

// Draws a random scene (`more`: further words to the renderer) that is changed before it is drawn, under a fair light, if it is not there yet, and gives its truth.
json drawn_changed(const RandomOptions& options, const std::string& seed, const fs::path& base, const std::string& kind, const std::string& shot,
                   const fs::path& cameras, const std::function<void(json&)>& change, const std::vector<std::string>& more = {});
// Makes a scene the second photo of a bench whose lamps stay where they are: only the camera is held anew, over the same card and bench.
void keep_the_bench(json& second, const json& first);
// Each camera in a file of its own, so that several photos are by the same.
std::vector<fs::path> cameras_apart(const std::string& cameras, const fs::path& folder);

std::vector<Outcome> read_random(const RandomOptions& options, const Kind& kind, const fs::path& folder,
                                 Faults& faults);

// Each row: the photos that have something in common that may spoil a reading (a thin rod, a tilted card, ...).
void print_by_nuisance(const std::vector<Outcome>& outcomes, const fs::path& folder);

inline constexpr const char* two_lights = "two lights, linear";
inline constexpr const char *difference = "difference, linear", *steady_difference = "difference, lamps stay";
inline constexpr const char* nasty = "nasty, phone";

// Random rods with something on them that others lack: linear and phone photos in turn, under a fair light.
inline constexpr const char *two_coloured = "two-coloured", *guide_aside = "guide aside", *guide_facing = "guide facing", *uneven = "uneven";
// Metallic thread that flashes, by one photo, and by two from which the lamps stand elsewhere.
inline constexpr const char *metallic = "metallic", *metallic_two_tilts = "metallic, two tilts";
// Thread whose dyes glow by day.
inline constexpr const char* fluorescent = "fluorescent";
std::vector<Outcome> read_changed(const RandomOptions& options, const std::string& what, const fs::path& folder, Faults& faults);

// Two photos of one rod by one camera under two unlike lights, as one reading.
std::vector<Outcome> read_two_lights(const RandomOptions& options, const fs::path& folder, Faults& faults);

struct Difference {
    std::size_t bands = 0, inside = 0;
    std::vector<double> delta_e;
};

// How far two readings of the same bands are apart, by the same camera and card, under the same kind of light: with lamps, bench and
// lens drawn anew, or with all of them as they were and only the camera held otherwise.
Difference read_differences(const RandomOptions& options, bool lamps_stay, const fs::path& folder, Faults& faults);

struct Nasty {
    std::size_t photos = 0, refused_rightly = 0, refused_otherwise = 0, read_within = 0, read_beyond = 0;
};

// Photos with something wrong: each is to be refused for what is wrong with it, or read within its intervals.
Nasty read_nasty(const RandomOptions& options, const fs::path& folder, Faults& faults);

}  // namespace bindhue::accuracy

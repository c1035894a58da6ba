// Scenes that nobody arranged, for accuracy runs.
#pragma once

#include <cstdint>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

namespace bindhue::render {

struct RandomWish {
    std::uint64_t seed = 0;  // of the rod and its wraps
    std::uint64_t shot = 0;  // of camera, pose, light and nuisances
    std::string lights =
        "fair";  // D50, D65 and LED-B3; "any": all, and mixtures of unlike ones; or one by name
    bool phone = false;
    enum class What {
        wraps,
        spools,  // dry thread, deep as on a spool
        stick,   // one dry thread across the middle of a stick of two tones
        aged     // wraps under an amber finish, and a white mark beside them, bare and under that finish
    } what = What::wraps;
};

// Coat tests of threads that hang on no rack, as lines of a table: material, size_mm, schedule, and the Lab of ground, dry
// thread and finished wrap. noise: standard deviation of each reading, per Lab axis. By plates (thread.hpp) or by rays through
// fibres (fibres.hpp; three lots of each material, some minutes).
enum class CoatJudge { plates, fibres };
struct RandomCoatTests {
    std::string table;
    std::string opacity;  // of the same threads, row by row: the Lab of one dry layer over black and over white, and of these grounds
};
RandomCoatTests random_coat_tests(std::uint64_t seed, int count, double noise, CoatJudge judge);

// Finished wraps whose finish has gone amber, by rays through fibres, as lines of a table: transmittance (of the film at 440 nm, internal, crossed once),
// the Lab of the wrap now and as it was when the finish was clear, and of a white or pale mark, bare and under the same finish. The first is the
// truth, the others have noise, but for the wrap as it was.
std::string random_ambers(std::uint64_t seed, int count, double noise);

// A scene as in samples/scenes; the same wish gives the same scene everywhere.
nlohmann::json random_scene(const RandomWish& wish, const std::vector<std::string>& sensors);

}  // namespace bindhue::render

// Times the ranking of a rack: 300 spools of all materials, all schedules, over two grounds, for the ten best;
// and its parts, of which the spectra of the spools are shared by all schedules and grounds.
#include "colour/ranking.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <random>
#include <string>
#include <vector>

using namespace bindhue;

namespace {

constexpr std::size_t spools = 300;

Palette rack() {
    std::mt19937 random(1);
    std::uniform_real_distribution<double> any_L(15, 92), share(0, 1), hue(0, 360);
    Palette out;
    for (std::size_t i = 0; i < spools; ++i) {
        const double L = any_L(random), C = 55 * share(random) * std::min(1.0, std::min(L, 100 - L) / 40);
        Spool spool;
        spool.code = "T-" + std::to_string(i);
        spool.material = all_materials[i % all_materials.size()];
        spool.readings = {{to_lab(LCh<D50>{L, C, hue(random)}), Matrix3::diagonal({0.3, 0.3, 0.3}), {}}};
        out.push_back(spool);
    }
    return out;
}

// Median of some runs, in milliseconds: other work on the machine disturbs single ones.
template <class F>
double milliseconds(F run) {
    std::vector<double> times;
    for (int i = 0; i < 9; ++i) {
        const auto start = std::chrono::steady_clock::now();
        run(i);
        times.push_back(
            std::chrono::duration<double, std::milli>(std::chrono::steady_clock::now() - start).count());
    }
    std::nth_element(times.begin(), times.begin() + 4, times.end());
    return times[4];
}

}  // namespace

int main() {
    const Palette palette = rack();
    const std::vector<Ground> grounds{{"blank", {{20, 0, 0}, Matrix3::identity(), {}}, 0},
                                      {"white", {{92, 0, 1}, Matrix3::identity(), {}}, 1}};
    double sink = 0;  // so that nothing is optimised away

    std::vector<Surface> surfaces;
    const double spectra = milliseconds([&](int) {
        surfaces.clear();
        for (const Spool& spool : palette) surfaces.push_back(Surface::nearest(spool.readings[0]));
    });
    const Surface blank = Surface::nearest(grounds[0].colour);
    const double looks = milliseconds([&](int) {
        for (const Surface& dry : surfaces)
            sink += predicted_look(Material::nylon, Schedule::finish, 0.15, dry, blank).L;
    });
    const double covariances = milliseconds([&](int) {
        for (const Surface& dry : surfaces)
            sink += predicted_covariance(Material::nylon, Schedule::finish, 0.15, dry, blank).rest(0, 0);
    });
    const double whole = milliseconds([&](int i) {
        const Reading target{{25.0 + 6 * i, 12, -10.0 + 4 * i}, Matrix3::identity(), {}};
        const auto best = rank(target, palette, grounds);
        sink += best ? best->front().delta_e : 0;
    });

    // Twenty coat tests of each material and schedule: what learning from them costs, and ranking by what was learned.
    std::vector<CoatTest> tests;
    for (const Material material : all_materials)
        for (const Schedule schedule : all_schedules)
            for (std::size_t i = 0; i < 20; ++i) {
                const Surface& dry = surfaces[(7 * i + tests.size()) % surfaces.size()];
                const Lab<D50> look = predicted_look(material, schedule, 0.15, dry, blank);
                tests.push_back({material, schedule, 0.15, grounds[0].colour.lab, dry.reading().lab, {look.L + 1, look.a, look.b - 1}});
            }
    RankingOptions taught;
    const double learning = milliseconds([&](int) { taught.coat_model = CoatModel(tests); });
    const double whole_taught = milliseconds([&](int i) {
        const Reading target{{25.0 + 6 * i, 12, -10.0 + 4 * i}, Matrix3::identity(), {}};
        const auto best = rank(target, palette, grounds, taught);
        sink += best ? best->front().delta_e : 0;
    });

    std::printf("%-52s %8.2f ms\n", "300 spectra from dry readings", spectra);
    std::printf("%-52s %8.2f ms\n", "300 looks", looks);
    std::printf("%-52s %8.2f ms\n", "300 covariances", covariances);
    std::printf("%-52s %8.2f ms\n", "rank: 300 spools x 3 schedules x 2 grounds, top 10", whole);
    std::printf("%-52s %8.2f ms\n", "learning from 420 coat tests, of all materials", learning);
    std::printf("%-52s %8.2f ms\n", "rank by what was learned", whole_taught);
    return std::isfinite(sink) ? 0 : 1;
}

// Times an audit of large racks against many looks, and its parts.
#include "colour/audit.hpp"

#include <chrono>
#include <cstdio>
#include <random>
#include <string>

using namespace bindhue;

namespace {

std::vector<Lab<D50>> colours(std::size_t count, unsigned seed) {
    std::mt19937 random(seed);
    std::uniform_real_distribution<double> any_L(15, 92), share(0, 1), hue(0, 360);
    std::vector<Lab<D50>> out(count);
    for (Lab<D50>& c : out) {
        const double L = any_L(random);
        c = to_lab(LCh<D50>{L, 60 * std::sqrt(share(random)) * std::min(1.0, std::min(L, 100 - L) / 40), hue(random)});
    }
    return out;
}

Palette rack(std::size_t count) {
    Palette out(count);
    const auto dry = colours(count, 1);
    for (std::size_t i = 0; i < count; ++i) {
        out[i].code = std::string("T-").append(std::to_string(i));
        out[i].material = all_materials[i % all_materials.size()];
        out[i].readings = {{dry[i], Matrix3::diagonal({0.3, 0.3, 0.3}), {}}};
    }
    return out;
}

template <class F>
auto timed(const char* what, F work) {
    const auto start = std::chrono::steady_clock::now();
    auto out = work();
    std::printf("  %-44s %8.2f s\n", what,
                std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count());
    return out;
}

}  // namespace

int main() {
    const std::vector<Ground> grounds{{"dark", {{18, 0, 0}, Matrix3::identity(), {}}, 0},
                                      {"white", {{92, 0, 2}, Matrix3::identity(), {}}, 1}};
    const std::vector<Schedule> schedules{Schedule::finish, Schedule::preserver_finish};
    for (const auto& [spools, targets] : {std::pair{300, 100'000}, {10'000, 100'000}, {100'000, 21'161}}) {
        std::printf("%d spools, %d looks asked for\n", spools, targets);
        const Palette palette = rack(static_cast<std::size_t>(spools));
        std::vector<AskedLook> asked;
        for (const Lab<D50>& c : colours(static_cast<std::size_t>(targets), 2)) asked.push_back({c, 1});
        const auto looks = timed("finished looks, 2 schedules x 2 grounds",
                                 [&] { return finished_looks(palette, grounds, schedules); });
        const auto found = timed("audit", [&] { return audit(palette, *looks, asked); });
        const auto offer = finished_looks(rack(100), grounds, schedules);
        const auto list = timed("5 to buy of 100 on offer", [&] { return buying_list(*offer, asked, *found, 5); });
        std::printf("  served %.1f %%, with the 5 %.1f %%%s\n", 100 * found->served, 100 * list->served,
                    list->best ? " (proven best)" : "");
    }
    return 0;
}

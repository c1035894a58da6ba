// Times reading the file of a large rack: with readings that an instrument gave (one a spool), and with readings by photo, whose covariances
// are full.
#include <algorithm>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <random>
#include <string>
#include <vector>

#include "shop/spool_file.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

SpoolFile rack(std::size_t count, bool by_photo) {
    std::mt19937 random(1);
    std::uniform_real_distribution<double> share(0, 1);
    SpoolFile out;
    for (std::size_t i = 0; i < count; ++i) {
        SpoolEntry entry;
        entry.spool.code = std::string("T-").append(std::to_string(i));
        entry.spool.name = "Tide green";
        entry.spool.material = all_materials[i % all_materials.size()];
        Reading reading{{20 + 70 * share(random), 60 * share(random) - 30, 60 * share(random) - 30}, Matrix3::diagonal({0.04, 0.04, 0.04}), {}};
        if (by_photo) {
            Matrix3 root;
            for (double& r : root.m) r = share(random);
            reading.shared = root * transpose(root);
            reading.covariance = 1.5 * reading.shared;
            for (Matrix3* m : {&reading.shared, &reading.covariance})
                for (std::size_t r = 0; r < 3; ++r)
                    for (std::size_t c = 0; c < r; ++c) (*m)(r, c) = (*m)(c, r);
            reading.context = {"a camera", "bench-card", "door"};
        }
        entry.spool.readings = {reading};
        entry.notes = {{"shelf.jpg", "2026-11-01", ""}};
        out.entries.push_back(std::move(entry));
    }
    return out;
}

double seconds_since(std::chrono::steady_clock::time_point start) {
    return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
}

}  // namespace

int main(int argc, char** argv) {
    const std::size_t count = argc > 1 ? std::strtoul(argv[1], nullptr, 10) : 100'000;
    for (const bool by_photo : {false, true}) {
        const auto start = std::chrono::steady_clock::now();
        const auto text = write_spool_file(rack(count, by_photo));
        if (!text) {
            std::printf("refused: %s\n", text.error().what.c_str());
            continue;
        }
        std::printf("%zu spools, %s: %.1f MB, written in %.2f s\n", count, by_photo ? "read by photo" : "by instrument",
                    static_cast<double>(text->size()) / 1e6, seconds_since(start));
        std::vector<double> times, processor;
        for (int i = 0; i < 7; ++i) {
            const auto begun = std::chrono::steady_clock::now();
            const std::clock_t worked = std::clock();
            const auto back = read_spool_file(*text, "spools.json");
            times.push_back(seconds_since(begun));
            processor.push_back(static_cast<double>(std::clock() - worked) / CLOCKS_PER_SEC);
            if (!back || back->entries.size() != count) std::puts("  refused");
        }
        std::sort(times.begin(), times.end());
        std::sort(processor.begin(), processor.end());
        std::printf("  read in %.2f s (median of 7; %.2f to %.2f), of the processor %.2f s\n", times[3], times.front(), times.back(), processor[3]);
    }
    return 0;
}

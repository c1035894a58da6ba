// How well the look under a new finish is found again from under an amber one: with the film's transmittance given, and with it read from a mark.
// The truth comes from `render ambers`: rays traced through film and bundles of fibres, with a tint of another shape than the library's, on
// spectra of dyes. Rendered, so no evidence about real finish.
#include <Eigen/Dense>
#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <string>
#include <vector>

#include "colour/amber.hpp"
#include "colour/difference.hpp"
#include "shop/atomic_file.hpp"
#include "shop/numbers.hpp"

namespace {

using namespace bindhue;

double quantile(std::vector<double> v, double p) {
    std::sort(v.begin(), v.end());
    return v.empty() ? 0 : v[static_cast<std::size_t>(p * static_cast<double>(v.size() - 1))];
}

constexpr double noise = 0.4;

struct Tally {
    std::vector<double> error;
    double inside = 0;
    int refused = 0;

    void add(const Result<Reading>& found, const Lab<D50>& truth) {
        if (!found) {
            ++refused;
            return;
        }
        error.push_back(ciede2000(found->lab, truth));
        inside += mahalanobis_squared(truth, *found) < region_95;
    }
    double held() const { return inside / static_cast<double>(std::max<std::size_t>(error.size(), 1)); }
    void print(const char* what) const {
        std::printf("%-40s %5.2f / %5.2f  %3.0f %%  %3d of %zu\n", what, quantile(error, 0.5), quantile(error, 0.95), 100 * held(), refused,
                    error.size() + static_cast<std::size_t>(refused));
    }
};

}  // namespace

int main(int argc, char** argv) {
    // amber_accuracy RENDER [FIRST_SEED [SEEDS [COUNT]]]
    if (argc < 2) return 2;
    const int first = argc > 2 ? std::atoi(argv[2]) : 100, seeds = argc > 3 ? std::atoi(argv[3]) : 1, count = argc > 4 ? std::atoi(argv[4]) : 100;
    const std::filesystem::path table = std::filesystem::temp_directory_path() / ("bindhue-ambers-" + std::to_string(first) + ".csv");
    Tally now, given, marked;
    std::vector<double> strength;
    double strength_inside = 0;
    for (int seed = first; seed < first + seeds; ++seed) {
        const std::string command = std::string("'") + argv[1] + "' ambers " + std::to_string(seed) + " '" + table.string() + "' --count " +
                                    std::to_string(count) + " --noise 0.4 > /dev/null";
        if (std::system(command.c_str()) != 0) return 1;
        const auto text = capture::read_file(table);
        if (!text) return 1;
        for (std::size_t at = text->find('\n') + 1; at < text->size();) {
            const std::size_t end = text->find('\n', at);
            const auto row = capture::parse_numbers(text->substr(at, end - at), 13, "table");
            at = end + 1;
            if (!row) return 1;
            const auto lab = [&](std::size_t k) { return Lab<D50>{(*row)[k], (*row)[k + 1], (*row)[k + 2]}; };
            const auto read = [&](std::size_t k) {
                return Reading{lab(k), Matrix3::diagonal({noise * noise, noise * noise, noise * noise}), {}};
            };
            const Lab<D50> truth = lab(4);
            now.add(read(1), truth);
            const Result<Amber> known = amber_of((*row)[0], 0.02);
            given.add(known ? as_new(read(1), *known) : Result<Reading>(known.error()), truth);
            const Result<Amber> found = amber_over(read(7), read(10));
            marked.add(found ? as_new(read(1), *found) : Result<Reading>(found.error()), truth);
            if (found) {
                const double off = found->transmittance() - (*row)[0];
                strength.push_back(std::abs(off));
                strength_inside += std::abs(off) < 1.96 * found->transmittance_sd();
            }
        }
    }
    std::filesystem::remove(table);
    std::printf("%-40s %-14s %s\n", "look as new, CIEDE2000", "median / 95th", "inside, refused");
    now.print("left as it is now");
    given.print("transmittance given to 0.02");
    marked.print("transmittance read from a mark");
    std::printf("transmittance from the mark: off by %.3f / %.3f, inside %.0f %%\n", quantile(strength, 0.5), quantile(strength, 0.95),
                100 * strength_inside / static_cast<double>(std::max<std::size_t>(strength.size(), 1)));
    const bool sound = given.held() > 0.85 && marked.held() > 0.85 && 2 * quantile(marked.error, 0.5) < quantile(now.error, 0.5) &&
                       10 * (given.refused + marked.refused) < static_cast<int>(now.error.size());
    if (!sound) std::puts("FAILED: a region holds less than 85 %, one in twenty is refused, or less than half of the amber is undone");
    return sound ? 0 : 1;
}

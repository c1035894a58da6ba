// How well the looks of coated threads are predicted after 0, 3, 8 and 20 coat tests of a material and schedule, on threads never taught, beside three
// simple ways; and where 8 tests of every other material and schedule are known besides. The truth comes from `render coats`: by piles of plates (samples/render/thread.cpp) or by rays through bundles of fibres
// (samples/render/fibres.cpp), neither of them the library's two-flux layer. Rendered tests are no evidence about real thread.
#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <map>
#include <random>
#include <string>

#include "colour/coat_learning.hpp"
#include "colour/difference.hpp"
#include "colour/opacity.hpp"
#include "shop/atomic_file.hpp"
#include "shop/coat_tests.hpp"
#include "shop/numbers.hpp"

namespace {

using namespace bindhue;
struct Drawn : CoatTest {
    std::optional<LayerOpacity> opacity;  // as find_opacity reads it from a stick of two tones
};
using Group = std::vector<Drawn>;

constexpr double region_95 = 7.815;  // chi squared, three degrees of freedom

Eigen::Vector3d vector_of(const Lab<D50>& lab) { return {lab.L, lab.a, lab.b}; }
Lab<D50> lab_of(const Eigen::Vector3d& v) { return {v(0), v(1), v(2)}; }

double quantile(std::vector<double> v, double p) {
    std::sort(v.begin(), v.end());
    return v.empty() ? 0 : v[static_cast<std::size_t>(p * static_cast<double>(v.size() - 1))];
}

// Shift by ridge on dry Lab and ground lightness; the ridge shrinks to the mean shift.
Lab<D50> by_ridge(const Group& taught, const CoatTest& asked) {
    const auto features = [](const CoatTest& t) {
        return Eigen::Vector4d{(t.dry.L - 50) / 25, t.dry.a / 25, t.dry.b / 25, (t.ground.L - 50) / 25};
    };
    Eigen::Vector3d mean = Eigen::Vector3d::Zero();
    for (const CoatTest& t : taught) mean += (vector_of(t.finished) - vector_of(t.dry)) / static_cast<double>(taught.size());
    Eigen::Matrix4d normal = Eigen::Matrix4d::Identity();
    Eigen::Matrix<double, 4, 3> product = Eigen::Matrix<double, 4, 3>::Zero();
    for (const CoatTest& t : taught) {
        normal += features(t) * features(t).transpose();
        product += features(t) * (vector_of(t.finished) - vector_of(t.dry) - mean).transpose();
    }
    const Eigen::Vector3d shift = mean + normal.ldlt().solve(product).transpose() * features(asked);
    return lab_of(vector_of(asked.dry) + shift);
}

// What one way of predicting does on threads never taught.
struct Tally {
    std::vector<double> error;
    double inside = 0;
    void add(const Reading& finished, const CoatTest& t) {
        error.push_back(ciede2000(finished.lab, t.finished));
        const Matrix3 seen = finished.covariance + Matrix3::diagonal({0.16, 0.16, 0.16});
        inside += mahalanobis_squared(t.finished, {finished.lab, seen, {}}) < region_95;
    }
    double held() const { return inside / static_cast<double>(error.size()); }
};

Reading noisy(const Lab<D50>& lab) { return {lab, Matrix3::diagonal({0.16, 0.16, 0.16}), {}}; }

}  // namespace

int main(int argc, char** argv) {
    // coat_accuracy RENDER [FIRST_SEED [SEEDS [plates|fibres]]]
    if (argc < 2) return 2;
    const int first = argc > 2 ? std::atoi(argv[2]) : 100, seeds = argc > 3 ? std::atoi(argv[3]) : 3;
    const std::string judge = argc > 4 ? argv[4] : "plates";
    const std::filesystem::path table = std::filesystem::temp_directory_path() / ("bindhue-coats-" + judge + std::to_string(first) + ".csv");
    const std::filesystem::path sticks = table.string() + ".sticks";
    std::map<std::pair<Material, Schedule>, Group> all;
    for (int seed = first; seed < first + seeds; ++seed) {
        const std::string command =
            std::string("'") + argv[1] + "' coats " + std::to_string(seed) + " '" + table.string() + "' --count 400 --noise 0.4 --by " + judge +
            " --opacity '" + sticks.string() + "' > /dev/null";
        if (std::system(command.c_str()) != 0) return 1;
        const auto text = capture::read_file(table);
        const auto entries = capture::read_coat_table(text ? *text : "", table.string());
        if (!entries) return 1;
        const auto opacity = capture::read_file(sticks);
        if (!opacity) return 1;
        std::size_t at = opacity->find('\n') + 1;
        for (const auto& e : *entries) {
            const std::size_t end = opacity->find('\n', at);
            const auto row = capture::parse_numbers(opacity->substr(at, end - at), 12, "sticks");
            at = end + 1;
            if (!row) return 1;
            const auto lab = [&](std::size_t k) { return noisy({(*row)[k], (*row)[k + 1], (*row)[k + 2]}); };
            const auto found = find_opacity(e.test.material, e.test.size_mm, {noisy(e.test.dry), lab(6), lab(0), lab(9), lab(3)});
            Drawn drawn{e.test, {}};
            drawn.ground_covariance = drawn.dry_covariance = drawn.finished_covariance = noisy({}).covariance;
            if (found) drawn.opacity = found->layer;
            all[{e.test.material, e.test.schedule}].push_back(drawn);
        }
    }
    std::filesystem::remove(table);
    std::filesystem::remove(sticks);
    std::printf("%-14s %-17s %5s  %-12s %-7s %-12s %-7s %-12s %-7s %-12s %-12s %-12s\n", "material", "schedule", "tests", "learned", "inside", "with opacity", "inside",
                "borrowing", "inside", "no shift", "mean shift", "ridge");
    // What the shop has tested besides. Metallic teaches nothing.
    std::map<std::pair<Material, Schedule>, std::vector<CoatTest>> besides;
    for (const auto& [key, group] : all)
        for (const auto& [other, tests] : all)
            if (other != key) besides[key].insert(besides[key].end(), tests.begin(), tests.begin() + static_cast<std::ptrdiff_t>(std::min<std::size_t>(8, tests.size())));
    bool sound = true;
    for (auto& [key, group] : all) {
        const auto& [material, schedule] = key;
        if (schedule == Schedule::none || material == Material::metallic) continue;
        for (const std::size_t n : {std::size_t{0}, std::size_t{3}, std::size_t{8}, std::size_t{20}}) {
            Tally learned, opaque, borrowing;
            std::vector<double> none, mean, ridge;
            std::mt19937 random(7);
            for (int round = 0; round < 6 && group.size() > n + 20; ++round) {
                std::shuffle(group.begin(), group.end(), random);
                const Group taught(group.begin(), group.begin() + static_cast<std::ptrdiff_t>(n));
                const CoatModel model(std::vector<CoatTest>(taught.begin(), taught.end()));
                std::vector<CoatTest> shop = besides[key];
                shop.insert(shop.end(), taught.begin(), taught.end());
                const CoatModel of_shop(shop);
                Eigen::Vector3d shift = Eigen::Vector3d::Zero();
                for (const CoatTest& t : taught) shift += (vector_of(t.finished) - vector_of(t.dry)) / static_cast<double>(n);
                for (std::size_t i = n; i < n + 20; ++i) {
                    const Drawn& t = group[i];
                    const auto finished = model.predict(material, schedule, t.size_mm, noisy(t.dry), noisy(t.ground)),
                               knowing = model.predict(material, schedule, t.size_mm, noisy(t.dry), noisy(t.ground), t.opacity),
                               by_shop = of_shop.predict(material, schedule, t.size_mm, noisy(t.dry), noisy(t.ground));
                    if (!finished || !knowing || !by_shop) continue;
                    borrowing.add(*by_shop, t);
                    learned.add(*finished, t);
                    opaque.add(*knowing, t);
                    none.push_back(ciede2000(t.dry, t.finished));
                    mean.push_back(ciede2000(lab_of(vector_of(t.dry) + shift), t.finished));
                    ridge.push_back(n > 0 ? ciede2000(by_ridge(taught, t), t.finished) : none.back());
                }
            }
            if (learned.error.empty()) continue;
            sound = sound && learned.held() > 0.8 && opaque.held() > 0.8 && borrowing.held() > 0.8 && (n == 0 || quantile(learned.error, 0.5) <= 1.1 * quantile(none, 0.5) + 0.5);
            std::printf("%-14s %-17s %5zu  %4.2f / %5.2f %3.0f %%   %4.2f / %5.2f %3.0f %%   %4.2f / %5.2f %3.0f %%   %4.2f / %5.2f %4.2f / %5.2f %4.2f / %5.2f\n", std::string(name(material)).c_str(),
                        std::string(name(schedule)).c_str(), n, quantile(learned.error, 0.5), quantile(learned.error, 0.95), 100 * learned.held(),
                        quantile(opaque.error, 0.5), quantile(opaque.error, 0.95), 100 * opaque.held(), quantile(borrowing.error, 0.5),
                        quantile(borrowing.error, 0.95), 100 * borrowing.held(),
                        quantile(none, 0.5), quantile(none, 0.95), quantile(mean, 0.5), quantile(mean, 0.95), quantile(ridge, 0.5),
                        quantile(ridge, 0.95));
        }
    }
    if (!sound) std::puts("FAILED: a region holds less than 80 %, or learning is worse than no shift at all");
    return sound ? 0 : 1;
}

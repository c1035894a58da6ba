#include "colour/coat_held_out.hpp"

#include <algorithm>
#include <cmath>

#include "colour/difference.hpp"
#include "in_parallel.hpp"

namespace bindhue {
namespace {

constexpr std::size_t most_folds = 40;
constexpr double assumed_error = 0.4;

Reading reading_of(const Lab<D50>& lab, const Matrix3& covariance) {
    const bool known = covariance.m != Matrix3{}.m;
    constexpr double variance = assumed_error * assumed_error;
    return {lab, known ? covariance : Matrix3::diagonal({variance, variance, variance}), {}};
}

HeldOutErrors errors_of(std::vector<double> found) {
    std::sort(found.begin(), found.end());
    const auto at = [&](double p) { return found[static_cast<std::size_t>(std::lround(p * static_cast<double>(found.size() - 1)))]; };
    return {at(0.5), at(0.95)};
}

struct Outcome {
    double learned = 0, prior = 0, mean_shift = 0;
    bool inside = false, prior_inside = false;
};

Outcome outcome(const CoatTest& test, const CoatModel& model, const Vector3& mean_shift) {
    const Reading dry = reading_of(test.dry, test.dry_covariance), ground = reading_of(test.ground, test.ground_covariance);
    const Matrix3 own = reading_of(test.finished, test.finished_covariance).covariance;
    const Surface over = Surface::nearest(dry), under = Surface::nearest(ground);
    Outcome out;
    const auto judge = [&](const CoatModel& by, double& error, bool& inside) {
        const Lab<D50> look = by.predicted_look(test.material, test.schedule, test.size_mm, over, under);
        const FinishedCovariance c = by.predicted_covariance(test.material, test.schedule, test.size_mm, over, under);
        error = ciede2000(look, test.finished);
        inside = mahalanobis_squared(test.finished, {look, c.from_dry + c.rest + own, {}}) <= region_95;
    };
    judge(model.with(test.finish), out.learned, out.inside);
    judge(CoatModel(), out.prior, out.prior_inside);
    const Vector3 d = test.dry.vector();
    out.mean_shift = ciede2000(Lab<D50>{d[0] + mean_shift[0], d[1] + mean_shift[1], d[2] + mean_shift[2]}, test.finished);
    return out;
}

}  // namespace

std::vector<HeldOut> held_out(std::span<const CoatTest> tests) {
    // In the order of materials and schedules, so that each fold takes some of every kind.
    std::vector<CoatTest> all;
    std::vector<std::pair<std::size_t, std::size_t>> kinds;  // first and one past the last
    for (const Material material : all_materials)
        for (const Schedule schedule : all_schedules) {
            const std::size_t first = all.size();
            for (const CoatTest& t : tests)
                if (t.material == material && t.schedule == schedule) all.push_back(t);
            if (all.size() > first) kinds.emplace_back(first, all.size());
        }
    const std::size_t folds = std::min(most_folds, all.size());
    std::vector<Outcome> found(all.size());
    in_parallel(folds, [&](std::size_t fold) {
        std::vector<CoatTest> others;
        for (std::size_t i = 0; i < all.size(); ++i)
            if (i % folds != fold) others.push_back(all[i]);
        const CoatModel model(others);
        for (const auto& [first, last] : kinds) {
            Vector3 mean{};
            double counted = 0;
            for (std::size_t i = first; i < last; ++i) {
                if (i % folds == fold) continue;
                ++counted;
                const Vector3 before = all[i].dry.vector(), after = all[i].finished.vector();
                for (std::size_t k = 0; k < 3; ++k) mean[k] += after[k] - before[k];
            }
            for (double& m : mean) m /= std::max(counted, 1.0);
            for (std::size_t i = first; i < last; ++i)
                if (i % folds == fold) found[i] = outcome(all[i], model, mean);
        }
    });
    std::vector<HeldOut> out;
    for (const auto& [first, last] : kinds) {
        const std::size_t count = last - first;
        if (count < 2 || all[first].material == Material::metallic) continue;
        HeldOut h{all[first].material, all[first].schedule, count, {}, {}, {}, 0, 0};
        std::vector<double> learned, prior, mean_shift;
        for (std::size_t i = first; i < last; ++i) {
            const Outcome& o = found[i];
            learned.push_back(o.learned);
            prior.push_back(o.prior);
            mean_shift.push_back(o.mean_shift);
            h.inside += o.inside / static_cast<double>(count);
            h.prior_inside += o.prior_inside / static_cast<double>(count);
        }
        h.learned = errors_of(std::move(learned));
        h.prior = errors_of(std::move(prior));
        h.mean_shift = errors_of(std::move(mean_shift));
        out.push_back(h);
    }
    return out;
}

}  // namespace bindhue

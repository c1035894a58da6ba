#include "colour/coat_held_out.hpp"

#include <algorithm>
#include <cmath>

#include "colour/difference.hpp"
#include "in_parallel.hpp"

namespace bindhue {
namespace {

constexpr double region_95 = 7.815;  // chi squared, three degrees of freedom
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
    judge(model, out.learned, out.inside);
    judge(CoatModel(), out.prior, out.prior_inside);
    const Vector3 d = test.dry.vector();
    out.mean_shift = ciede2000(Lab<D50>{d[0] + mean_shift[0], d[1] + mean_shift[1], d[2] + mean_shift[2]}, test.finished);
    return out;
}

}  // namespace

std::vector<HeldOut> held_out(std::span<const CoatTest> tests) {
    std::vector<HeldOut> out;
    for (const Material material : all_materials)
        for (const Schedule schedule : all_schedules) {
            std::vector<CoatTest> own;
            for (const CoatTest& t : tests)
                if (t.material == material && t.schedule == schedule) own.push_back(t);
            if (own.size() < 2 || material == Material::metallic) continue;
            const std::size_t folds = std::min(most_folds, own.size());
            std::vector<Outcome> found(own.size());
            in_parallel(folds, [&](std::size_t fold) {
                std::vector<CoatTest> others;
                Vector3 mean{};
                for (std::size_t i = 0; i < own.size(); ++i) {
                    if (i % folds == fold) continue;
                    others.push_back(own[i]);
                    const Vector3 before = own[i].dry.vector(), after = own[i].finished.vector();
                    for (std::size_t k = 0; k < 3; ++k) mean[k] += after[k] - before[k];
                }
                for (double& m : mean) m /= static_cast<double>(others.size());
                const CoatModel model(others);
                for (std::size_t i = fold; i < own.size(); i += folds) found[i] = outcome(own[i], model, mean);
            });
            HeldOut h{material, schedule, own.size(), {}, {}, {}, 0, 0};
            std::vector<double> learned, prior, mean_shift;
            for (const Outcome& o : found) {
                learned.push_back(o.learned);
                prior.push_back(o.prior);
                mean_shift.push_back(o.mean_shift);
                h.inside += o.inside / static_cast<double>(found.size());
                h.prior_inside += o.prior_inside / static_cast<double>(found.size());
            }
            h.learned = errors_of(std::move(learned));
            h.prior = errors_of(std::move(prior));
            h.mean_shift = errors_of(std::move(mean_shift));
            out.push_back(h);
        }
    return out;
}

}  // namespace bindhue

#include "colour/drift.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

#include "colour/matrix.hpp"

namespace bindhue {
namespace {

constexpr double beyond = 11.34;  // 99 % point of chi squared, three degrees of freedom

double product(const Vector3& x, const Vector3& y) { return x[0] * y[0] + x[1] * y[1] + x[2] * y[2]; }

}  // namespace

Drift drift_between(const Reading& earlier, const Reading& later) {
    const DifferenceDistribution difference(earlier, later);
    return {difference.at_best_estimate(),
            std::min(difference.quantile(0.025), difference.at_best_estimate()),
            difference.quantile(0.975),
            disagreement(earlier, later) > beyond,
            earlier.context.same_kind(later.context),
            lean(earlier.lab, later.lab)};
}

bool drift_alike(std::span<const ReadTwice> spools) {
    std::vector<Vector3> shifts;
    for (const auto& [earlier, later] : spools)
        if (disagreement(earlier, later) > beyond)
            shifts.push_back({later.lab.L - earlier.lab.L, later.lab.a - earlier.lab.a, later.lab.b - earlier.lab.b});
    if (shifts.size() < 2) return false;
    for (std::size_t i = 0; i < shifts.size(); ++i)
        for (std::size_t j = 0; j < i; ++j)
            if (product(shifts[i], shifts[j]) <
                std::sqrt(0.5 * product(shifts[i], shifts[i]) * product(shifts[j], shifts[j])))
                return false;
    return true;
}

}  // namespace bindhue

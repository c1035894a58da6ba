// Order statistics, for what must not follow outliers.
#pragma once

#include <algorithm>
#include <cstddef>
#include <utility>
#include <vector>

namespace bindhue {

// The element at floor(share * size) of the sorted list: as large as, or larger than, that share of the others. share: 0 to below 1. Precondition: not empty.
inline double quantile(std::vector<double> values, double share) {
    const auto at = values.begin() + static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size()));
    std::nth_element(values.begin(), at, values.end());
    return *at;
}
inline double median(std::vector<double> values) { return quantile(std::move(values), 0.5); }

}  // namespace bindhue

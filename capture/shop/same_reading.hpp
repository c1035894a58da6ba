// Whether two readings are one and the same, taken in twice.
#pragma once

#include "colour/reading.hpp"

namespace bindhue::capture {

inline bool same_reading(const Reading& one, const Reading& other) {
    return one.lab.vector() == other.lab.vector() && one.covariance.m == other.covariance.m && one.shared.m == other.shared.m &&
           one.context == other.context;
}

}  // namespace bindhue::capture

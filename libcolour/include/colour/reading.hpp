// A colour with its uncertainty, and what that makes of a CIEDE2000.
#pragma once

#include <array>
#include <string>

#include "colour/difference.hpp"
#include "colour/matrix.hpp"
#include "colour/result.hpp"
#include "colour/spaces.hpp"

namespace bindhue {

// How a reading came about. Readings with the same camera, card and light share most of their error.
struct ReadingContext {
    std::string camera, card, light;  // empty: not known

    bool same_kind(const ReadingContext& other) const;  // all three known and equal
};

// CIELAB, D50, 2-degree, of the diffuse reflectance (specular excluded), with the covariance of (L, a, b):
// symmetric, positive semidefinite. The 95 % region is the ellipsoid at Mahalanobis distance sqrt(7.815).
struct Reading {
    Lab<D50> lab;
    Matrix3 covariance;
    ReadingContext context;
};

// Checks finite values, 0 <= L <= 110, |a|, |b| <= 200, symmetry, and no negative variance in any direction.
Status validate(const Reading& reading);

// Mean weighted by inverse covariance; independent errors assumed. Precondition: both valid. A covariance of
// zero wins.
Reading combine(const Reading& one, const Reading& other);

// d^T C^-1 d with a small floor on C, so that an exact reading does not divide by zero.
double mahalanobis_squared(const Lab<D50>& point, const Reading& reading);

// The distribution of CIEDE2000 between two uncertain colours, errors Gaussian in Lab and independent. By a
// fixed sample of 512: against brute force the expected value is within 1 %, a chance within 0.03, a quantile
// from 0.25 to 0.975 within 5 % and the one of 0.025 within 12 %.
class DifferenceDistribution {
  public:
    DifferenceDistribution(const Reading& reference, const Reading& sample,
                           const DifferenceWeights& weights = {});

    double expected() const { return expected_; }
    // CIEDE2000 of the two means: biased low when they are close.
    double at_best_estimate() const { return at_best_; }
    double quantile(double p) const;             // 0 <= p <= 1
    double pass_chance(double tolerance) const;  // P(CIEDE2000 <= tolerance)

  private:
    std::array<double, 512> sorted_{};  // from a fixed sample: the same inputs always give the same answer
    double expected_ = 0, at_best_ = 0;
};

// Which way the sample leans from the reference, in words of the bench, most visible first: "lighter,
// redder", "duller". Empty when the two differ by less than 0.5.
std::string lean(const Lab<D50>& reference, const Lab<D50>& sample);

}  // namespace bindhue

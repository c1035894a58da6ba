// A colour with its uncertainty, and what that makes of a CIEDE2000.
#pragma once

#include <array>
#include <span>
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
    bool operator==(const ReadingContext&) const = default;
};

// CIELAB, D50, 2-degree, of the diffuse reflectance (specular excluded), with the covariance of (L, a, b):
// symmetric, positive semidefinite. The 95 % region is the ellipsoid at Mahalanobis distance sqrt(7.815).
struct Reading {
    Lab<D50> lab;
    Matrix3 covariance;
    ReadingContext context;
    // The part of the covariance that another reading by the same camera, card and light of a like colour has
    // as well, with the same sign: what the camera fit and the card's values err by. Zero: not known. Never
    // more than the covariance, in any direction.
    Matrix3 shared{};
};

// Checks finite values, 0 <= L <= 110, |a|, |b| <= 200, symmetry, and no negative variance in any direction,
// of the covariance, of what is shared of it and of what is not.
Status validate(const Reading& reading);

// The covariance of the difference of two readings. What they share cancels if both are of one kind, the less
// the farther apart their colours are.
Matrix3 difference_covariance(const Reading& one, const Reading& other);

// One reading from several of the same thing: mean weighted by inverse covariance. What the readings share
// does not average out: fully shared unless camera or light are known to differ; then half (a guess). A
// covariance of zero wins. Precondition: at least one, all valid.
Reading combine(std::span<const Reading> readings);

// Squared Mahalanobis distance between two readings of the same thing. Above 11.34 (the 99 % point of chi
// squared with three degrees of freedom) they disagree beyond their covariances.
double disagreement(const Reading& one, const Reading& other);

// Chi squared with three degrees of freedom, 95 %.
inline constexpr double region_95 = 7.815;

// d^T C^-1 d with a small floor on C, so that an exact reading does not divide by zero.
double mahalanobis_squared(const Lab<D50>& point, const Reading& reading);

// The distribution of CIEDE2000 between two uncertain colours, errors Gaussian in Lab and independent but for
// what readings of one kind share (see difference_covariance). By a fixed sample of 512: against brute force the expected value is within 1 %, a chance within 0.03, a quantile
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

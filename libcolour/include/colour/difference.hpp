// CIEDE2000 colour difference.
//
// Source: ISO/CIE 11664-6:2014; Sharma, Wu, Dalal, "The CIEDE2000 color-difference formula: implementation
// notes, supplementary test data, and mathematical observations", Color Res. Appl. 30 (2005) 21-30 (equation
// numbers in the source). Symmetric to the last bit. Not a metric: the triangle
// inequality fails, so no tree may prune by it. Weights are 1 unless said; the textile convention is kL
// = 2.
#pragma once

#include <cmath>
#include <span>

#include "colour/spaces.hpp"

namespace bindhue {

// Parametric factors, greater than 0.
struct DifferenceWeights {
    double kL = 1, kC = 1, kH = 1;
};

// Each term already divided by its weight and weighting function: total^2 = L^2 + C^2 + H^2 + rotation.
// Signed: positive when the sample is lighter (L), more chromatic (C), anticlockwise in hue (H) than the
// reference.
struct DifferenceTerms {
    double L = 0, C = 0, H = 0;
    double rotation = 0;
    double total = 0;
};

// The formula jumps where hues are opposite and where the mean hue crosses 0; the slope is that of the side
// on which the pair lies. Where it has a point (equal colours; the chroma of a grey) the slope is 0. Exact
// derivatives, no differences.
struct DifferenceGradient {
    double value = 0;
    Vector3 by_reference{};  // d value / d (L, a, b) of the reference
    Vector3 by_sample{};
};

// CIELAB distance (CIE 1976, ISO/CIE 11664-4): for "are these one colour?" inside a procedure, not for what an eye sees.
template <class White>
double cie1976(const Lab<White>& one, const Lab<White>& other) {
    return std::hypot(one.L - other.L, one.a - other.a, one.b - other.b);
}

namespace detail {
double ciede2000(const Vector3& reference, const Vector3& sample, const DifferenceWeights& weights);
DifferenceTerms ciede2000_terms(const Vector3& reference, const Vector3& sample,
                                const DifferenceWeights& weights);
DifferenceGradient ciede2000_gradient(const Vector3& reference, const Vector3& sample,
                                      const DifferenceWeights& weights);
}  // namespace detail

// Error under 1e-12 of the formula in exact arithmetic for L, a and b up to +-200, at the formula's jumps
// too. What is not a finite number gives a NaN.
template <class White>
double ciede2000(const Lab<White>& reference, const Lab<White>& sample,
                 const DifferenceWeights& weights = {}) {
    return detail::ciede2000(reference.vector(), sample.vector(), weights);
}
template <class White>
DifferenceTerms ciede2000_terms(const Lab<White>& reference, const Lab<White>& sample,
                                const DifferenceWeights& weights = {}) {
    return detail::ciede2000_terms(reference.vector(), sample.vector(), weights);
}
template <class White>
DifferenceGradient ciede2000_gradient(const Lab<White>& reference, const Lab<White>& sample,
                                      const DifferenceWeights& weights = {}) {
    return detail::ciede2000_gradient(reference.vector(), sample.vector(), weights);
}

// One reference against many samples held as three planes of equal length (the shortest span counts),
// weights 1. For L, a and b up to +-200 the error is under 1e-12 in double and, for the values as rounded to
// float, under 1e-4 in float; see tests/speed for the time.
void ciede2000_batch(const Vector3& reference, std::span<const double> L, std::span<const double> a,
                     std::span<const double> b, std::span<double> out);
void ciede2000_batch(const Vector3& reference, std::span<const float> L, std::span<const float> a,
                     std::span<const float> b, std::span<float> out);

}  // namespace bindhue

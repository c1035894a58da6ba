// Chromatic adaptation between white points.
//
// Sources: Bradford as in ICC.1:2022 annex E; CAT16: Li et al., "Comprehensive color solutions: CAM16, CAT16,
// and CAM16-UCS", Color Res. Appl. 42 (2017) 703-718, full adaptation (D = 1), one step.
#pragma once

#include "colour/spaces.hpp"

namespace bindhue {

enum class Adaptation { bradford, cat16 };

// Tristimulus values under the source white to those that look alike under the destination white; whites with
// Y = 1. Precondition: a real light's white (its cone responses are not zero).
Matrix3 adaptation_matrix(const Vector3& source_white, const Vector3& destination_white,
                          Adaptation method = Adaptation::bradford);

template <class To, class From>
XYZ<To> adapt(const XYZ<From>& c, Adaptation method = Adaptation::bradford) {
    return XYZ<To>::from(adaptation_matrix({From::X, From::Y, From::Z}, {To::X, To::Y, To::Z}, method) *
                         c.vector());
}

// For screens: D50 Lab to sRGB by Bradford, each channel clipped to 0..1; a value that is not a number is
// drawn black.
EncodedSrgb to_display(const Lab<D50>& c);

}  // namespace bindhue

// Colours in a file, as [L, a, b], and covariances, as three rows of three numbers.
#pragma once

#include "colour/matrix.hpp"
#include "colour/spaces.hpp"
#include "shop/json_text.hpp"

namespace bindhue::capture {

Lab<D50> lab_at(const JsonCursor& at);
Matrix3 matrix_at(const JsonCursor& at);
Json matrix_json(const Matrix3& matrix);

}  // namespace bindhue::capture

// A covariance in a file: three rows of three numbers.
#pragma once

#include "colour/matrix.hpp"
#include "shop/json_text.hpp"

namespace bindhue::capture {

Matrix3 matrix_at(const JsonCursor& at);
Json matrix_json(const Matrix3& matrix);

}  // namespace bindhue::capture

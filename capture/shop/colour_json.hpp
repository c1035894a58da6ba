// Colours in a file, as [L, a, b], their covariances, and the amber of an old finish over them.
#pragma once

#include "colour/amber.hpp"
#include "colour/matrix.hpp"
#include "colour/spaces.hpp"
#include "shop/json_text.hpp"

namespace bindhue::capture {

Lab<D50> lab_at(const JsonCursor& at);
// Six numbers, in the order of the columns of a table: the variances of L, a and b, then the covariances of L and a, L and b, a and b.
Matrix3 covariance_at(const JsonCursor& at);
Json covariance_json(const Matrix3& covariance);
// Three rows of three numbers.
Matrix3 matrix_at(const JsonCursor& at);
Json matrix_json(const Matrix3& matrix);
// {depth_440, tail_nm, depth_sd, tail_log_sd, correlation}, as colour/amber.hpp has them.
Amber amber_at(const JsonCursor& at);
Json amber_json(const Amber& amber);

}  // namespace bindhue::capture

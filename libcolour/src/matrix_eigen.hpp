// Our small matrices as Eigen's, for decompositions.
#pragma once

#include <Eigen/Dense>

#include "colour/matrix.hpp"
#include "colour/spaces.hpp"

namespace bindhue {

using Square = Eigen::Matrix<double, 3, 3, Eigen::RowMajor>;

inline Square to_eigen(const Matrix3& m) { return Eigen::Map<const Square>(m.m.data()); }
inline Eigen::Vector3d to_eigen(const Vector3& v) { return {v[0], v[1], v[2]}; }
inline Eigen::Vector3d to_eigen(const Lab<D50>& c) { return to_eigen(c.vector()); }
// Of a covariance: what rounding made unlike on the two sides of the diagonal is evened out.
inline Matrix3 from_eigen(const Square& m) {
    Matrix3 out;
    Eigen::Map<Square>(out.m.data()) = 0.5 * (m + m.transpose());
    return out;
}

}  // namespace bindhue

// Three-vectors and 3x3 matrices: what colour needs of linear algebra, without a dependency in the public
// headers.
#pragma once

#include <array>
#include <cstddef>

namespace bindhue {

using Vector3 = std::array<double, 3>;

// Row-major.
struct Matrix3 {
    std::array<double, 9> m{};

    constexpr double& operator()(std::size_t row, std::size_t column) { return m[3 * row + column]; }
    constexpr double operator()(std::size_t row, std::size_t column) const { return m[3 * row + column]; }

    static constexpr Matrix3 diagonal(const Vector3& d) { return {{d[0], 0, 0, 0, d[1], 0, 0, 0, d[2]}}; }
    static constexpr Matrix3 identity() { return diagonal({1, 1, 1}); }
};

constexpr Vector3 operator*(const Matrix3& a, const Vector3& v) {
    Vector3 out{};
    for (std::size_t r = 0; r < 3; ++r)
        for (std::size_t c = 0; c < 3; ++c) out[r] += a(r, c) * v[c];
    return out;
}

constexpr Matrix3 operator*(const Matrix3& a, const Matrix3& b) {
    Matrix3 out;
    for (std::size_t r = 0; r < 3; ++r)
        for (std::size_t c = 0; c < 3; ++c)
            for (std::size_t k = 0; k < 3; ++k) out(r, c) += a(r, k) * b(k, c);
    return out;
}

constexpr Matrix3 operator+(const Matrix3& a, const Matrix3& b) {
    Matrix3 out;
    for (std::size_t i = 0; i < 9; ++i) out.m[i] = a.m[i] + b.m[i];
    return out;
}

// v v^T.
constexpr Matrix3 outer(const Vector3& v) {
    Matrix3 out;
    for (std::size_t a = 0; a < 3; ++a)
        for (std::size_t b = 0; b < 3; ++b) out(a, b) = v[a] * v[b];
    return out;
}
constexpr Matrix3 operator*(double s, const Matrix3& a) {
    Matrix3 out;
    for (std::size_t i = 0; i < 9; ++i) out.m[i] = s * a.m[i];
    return out;
}

constexpr Matrix3 transpose(const Matrix3& a) {
    Matrix3 out;
    for (std::size_t r = 0; r < 3; ++r)
        for (std::size_t c = 0; c < 3; ++c) out(r, c) = a(c, r);
    return out;
}

constexpr double determinant(const Matrix3& a) {
    return a(0, 0) * (a(1, 1) * a(2, 2) - a(1, 2) * a(2, 1)) -
           a(0, 1) * (a(1, 0) * a(2, 2) - a(1, 2) * a(2, 0)) +
           a(0, 2) * (a(1, 0) * a(2, 1) - a(1, 1) * a(2, 0));
}

// Precondition: determinant(a) is not zero.
constexpr Matrix3 inverse(const Matrix3& a) {
    const double d = determinant(a);
    const Matrix3 adjugate{{a(1, 1) * a(2, 2) - a(1, 2) * a(2, 1), a(0, 2) * a(2, 1) - a(0, 1) * a(2, 2),
                            a(0, 1) * a(1, 2) - a(0, 2) * a(1, 1), a(1, 2) * a(2, 0) - a(1, 0) * a(2, 2),
                            a(0, 0) * a(2, 2) - a(0, 2) * a(2, 0), a(0, 2) * a(1, 0) - a(0, 0) * a(1, 2),
                            a(1, 0) * a(2, 1) - a(1, 1) * a(2, 0), a(0, 1) * a(2, 0) - a(0, 0) * a(2, 1),
                            a(0, 0) * a(1, 1) - a(0, 1) * a(1, 0)}};
    return (1.0 / d) * adjugate;
}

}  // namespace bindhue

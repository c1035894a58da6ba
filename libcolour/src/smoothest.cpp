#include "colour/smoothest.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

#include "colour/cie_tables.hpp"

// Two steps, each cheap and each sure of its answer.
//
// First: is the colour possible? Of all reflectances of that colour the one of greatest entropy, weighted by
// the observer, is the logistic function of a combination of the three chromaticity coordinates of the
// wavelengths, whose coefficients minimise a smooth convex function of three variables. Either its minimum is
// found, and with it a smooth reflectance of that very colour to start from; or a direction is met in which
// the function falls for ever, which proves that no reflectance has the colour.
//
// Second: Newton's method on Burns's problem from there. The Hessian of the slope term is tridiagonal and
// there are three constraints, so a step costs a few hundred operations.

namespace bindhue {
namespace {

constexpr std::size_t n = spectrum_size;
using Column = std::array<double, n>;

struct Observer {
    // X, Y and Z of a reflectance are its products with w; weight is the sum of the three.
    std::array<Column, 3> w{};
    Column weight{};

    constexpr Observer() {
        double sum = 0;
        for (std::size_t i = 0; i < n; ++i) sum += cie::illuminant_d50[i] * cie::ybar[i];
        for (std::size_t i = 0; i < n; ++i) {
            const double k = cie::illuminant_d50[i] / sum;
            w[0][i] = k * cie::xbar[i];
            w[1][i] = k * cie::ybar[i];
            w[2][i] = k * cie::zbar[i];
            weight[i] = w[0][i] + w[1][i] + w[2][i];
        }
    }
};
constexpr Observer observer;

double combine(const Vector3& coefficients, std::size_t i) {
    return coefficients[0] * observer.w[0][i] + coefficients[1] * observer.w[1][i] +
           coefficients[2] * observer.w[2][i];
}

double dot(const Column& a, const Column& b) {
    double sum = 0;
    for (std::size_t i = 0; i < n; ++i) sum += a[i] * b[i];
    return sum;
}

double dot(const Vector3& a, const Vector3& b) { return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]; }

double largest(const Vector3& v) { return std::max({std::abs(v[0]), std::abs(v[1]), std::abs(v[2])}); }

// L D L' of a symmetric 3x3 matrix: enough for the few that are solved here, and it tells the signs of the
// eigenvalues.
struct SymmetricSolver {
    double l10, l20, l21;
    Vector3 d;

    explicit SymmetricSolver(const Matrix3& a) {
        d[0] = a(0, 0);
        l10 = a(1, 0) / d[0];
        l20 = a(2, 0) / d[0];
        d[1] = a(1, 1) - l10 * l10 * d[0];
        l21 = (a(2, 1) - l20 * l10 * d[0]) / d[1];
        d[2] = a(2, 2) - l20 * l20 * d[0] - l21 * l21 * d[1];
    }
    int negative() const { return (d[0] < 0) + (d[1] < 0) + (d[2] < 0); }
    Vector3 solve(const Vector3& b) const {
        const double y0 = b[0], y1 = b[1] - l10 * y0, y2 = b[2] - l20 * y0 - l21 * y1;
        const double x2 = y2 / d[2], x1 = y1 / d[1] - l21 * x2, x0 = y0 / d[0] - l10 * x1 - l20 * x2;
        return {x0, x1, x2};
    }
};

// L D L' of a symmetric tridiagonal matrix with all neighbours coupled by -2.
struct TridiagonalSolver {
    Column d, l;
    int negative = 0;

    explicit TridiagonalSolver(const Column& diagonal) {
        d[0] = diagonal[0];
        negative += d[0] < 0;
        for (std::size_t i = 1; i < n; ++i) {
            l[i] = -2.0 / d[i - 1];
            d[i] = diagonal[i] + 2.0 * l[i];
            negative += d[i] < 0;
        }
    }
    Column solve(Column b) const {
        for (std::size_t i = 1; i < n; ++i) b[i] -= l[i] * b[i - 1];
        b[n - 1] /= d[n - 1];
        for (std::size_t i = n - 1; i-- > 0;) b[i] = b[i] / d[i] - l[i + 1] * b[i + 1];
        return b;
    }
};

// The logistic function of 2 z, which is (tanh z + 1) / 2.
double logistic(double twice_z) {
    const double e = std::exp(-std::abs(twice_z));
    return twice_z > 0 ? 1.0 / (1.0 + e) : e / (1.0 + e);
}

Error not_found() {
    return {Reason::bad_value, "the smoothest reflectance of this colour could not be found", "",
            "the colour lies too close to the edge of what a surface can have; check the reading"};
}

// Half the logit of the reflectance of greatest weighted entropy.
Result<Column> greatest_entropy(const Vector3& colour) {
    const double grey = std::clamp(colour[1], 1e-6, 1.0 - 1e-6);
    Vector3 lambda{};
    lambda.fill(std::log(grey / (1.0 - grey)));

    struct State {
        Column u;               // logit
        double value, ceiling;  // of the convex function; and of what it tends to along lambda
    };
    const auto evaluate = [&](const Vector3& at) {
        State s;
        s.value = s.ceiling = -dot(at, colour);
        for (std::size_t i = 0; i < n; ++i) {
            s.u[i] = combine(at, i) / observer.weight[i];
            const double positive = std::max(s.u[i], 0.0);
            s.ceiling += observer.weight[i] * positive;
            s.value += observer.weight[i] * (positive + std::log1p(std::exp(-std::abs(s.u[i]))));
        }
        return s;
    };
    State state = evaluate(lambda);
    for (int iteration = 0; iteration < 200; ++iteration) {
        // Support function of the solid of all reflectances: a colour beyond it in any direction is outside.
        if (state.ceiling < 0)
            return Error{
                Reason::bad_value, "no surface can have this colour: it lies outside the object-colour solid",
                "",
                "check the reading; a diffuse colour is between black and white and not more vivid than its "
                "lightness allows"};
        Vector3 gradient{-colour[0], -colour[1], -colour[2]};
        Matrix3 hessian;
        for (std::size_t i = 0; i < n; ++i) {
            const double r = logistic(state.u[i]), curvature = r * (1.0 - r) / observer.weight[i];
            for (std::size_t k = 0; k < 3; ++k) {
                gradient[k] += observer.w[k][i] * r;
                for (std::size_t m = 0; m <= k; ++m)
                    hessian(k, m) += curvature * observer.w[k][i] * observer.w[m][i];
            }
        }
        if (largest(gradient) < 1e-9 * largest(colour)) {
            // Beyond +-10 a reflectance is 0 or 1 to nine decimals, and the way back would be long.
            for (double& u : state.u) u = std::clamp(0.5 * u, -10.0, 10.0);
            return state.u;
        }
        const double ridge = 1e-14 * (hessian(0, 0) + hessian(1, 1) + hessian(2, 2));
        for (std::size_t k = 0; k < 3; ++k) hessian(k, k) += ridge;
        Vector3 step = SymmetricSolver(hessian).solve(gradient);
        const double slope = -dot(gradient, step);
        if (!(slope < 0)) return not_found();
        double t = 1;
        State next;
        Vector3 at;
        for (int halvings = 0;; ++halvings, t *= 0.5) {
            if (halvings > 60) return not_found();
            for (std::size_t k = 0; k < 3; ++k) at[k] = lambda[k] - t * step[k];
            next = evaluate(at);
            // Close to the minimum the fall drowns in rounding, and the full step is right.
            if (slope > -1e-9 * largest(colour) || next.value <= state.value + 1e-4 * t * slope) break;
        }
        lambda = at;
        state = next;
    }
    return not_found();
}

struct Point {
    Column z, r, by_z;  // r' = dr/dz
    Vector3 miss;       // tristimulus values minus the wanted ones
    double slope = 0;   // sum of squared differences of z

    Point(const Column& at, const Vector3& colour) : z(at) {
        for (std::size_t i = 0; i < n; ++i) {
            r[i] = logistic(2.0 * z[i]);
            by_z[i] = 2.0 * r[i] * logistic(-2.0 * z[i]);
        }
        for (std::size_t k = 0; k < 3; ++k) miss[k] = dot(observer.w[k], r) - colour[k];
        for (std::size_t i = 0; i + 1 < n; ++i) slope += (z[i + 1] - z[i]) * (z[i + 1] - z[i]);
    }
};

struct Step {
    Column by;
    Vector3 multipliers;
};

// Newton's step of the Lagrangian, with just so much added to the Hessian's diagonal that the step leads
// downhill within the constraints: that is so if the whole system has as many negative eigenvalues as there
// are constraints.
std::optional<Step> newton_step(const Point& p, const Vector3& multipliers) {
    Column slope_gradient;
    for (std::size_t i = 0; i < n; ++i)
        slope_gradient[i] =
            (i > 0 ? 2.0 * (p.z[i] - p.z[i - 1]) : 0.0) + (i + 1 < n ? 2.0 * (p.z[i] - p.z[i + 1]) : 0.0);
    std::array<Column, 3> constraint;
    for (std::size_t k = 0; k < 3; ++k)
        for (std::size_t i = 0; i < n; ++i) constraint[k][i] = observer.w[k][i] * p.by_z[i];

    // The slope alone does not mind a constant added to z, so its Hessian is singular without some of the
    // shift.
    for (double shift = 1e-8; shift < 1e8; shift *= shift < 1e-3 ? 1e4 : 4) {
        Column diagonal;
        for (std::size_t i = 0; i < n; ++i)
            diagonal[i] = (i == 0 || i + 1 == n ? 2.0 : 4.0) + shift +
                          2.0 * p.by_z[i] * (1.0 - 2.0 * p.r[i]) * combine(multipliers, i);
        const TridiagonalSolver hessian(diagonal);
        const Column free_step = hessian.solve(slope_gradient);
        std::array<Column, 3> responses;
        for (std::size_t k = 0; k < 3; ++k) responses[k] = hessian.solve(constraint[k]);
        Matrix3 schur;
        Vector3 right;
        for (std::size_t k = 0; k < 3; ++k) {
            right[k] = p.miss[k] - dot(constraint[k], free_step);
            for (std::size_t m = 0; m < 3; ++m) schur(k, m) = dot(constraint[k], responses[m]);
        }
        const SymmetricSolver solver(schur);
        if (solver.negative() != hessian.negative) continue;
        Step step{free_step, solver.solve(right)};
        for (std::size_t i = 0; i < n; ++i) {
            step.by[i] = -free_step[i];
            for (std::size_t k = 0; k < 3; ++k) step.by[i] -= responses[k][i] * step.multipliers[k];
            if (!std::isfinite(step.by[i])) return std::nullopt;
        }
        return step;
    }
    return std::nullopt;
}

}  // namespace

Result<Spectrum> smoothest_reflectance(const XYZ<D50>& colour_xyz) {
    const Vector3 colour = colour_xyz.vector();
    if (!std::isfinite(colour[0]) || !std::isfinite(colour[1]) || !std::isfinite(colour[2]))
        return Error{Reason::bad_value, "a tristimulus value is not a finite number", "",
                     "check the reading that it came from"};
    const Result<Column> start = greatest_entropy(colour);
    if (!start) return start.error();

    Point p(*start, colour);
    Vector3 multipliers{};
    double penalty = 0;
    for (int iteration = 0; iteration < 100; ++iteration) {
        const std::optional<Step> step = newton_step(p, multipliers);
        if (!step) break;
        double longest = 0, by_slope = 0;
        for (std::size_t i = 0; i < n; ++i) longest = std::max(longest, std::abs(step->by[i]));
        for (std::size_t i = 0; i + 1 < n; ++i)
            by_slope += 2.0 * (p.z[i + 1] - p.z[i]) * (step->by[i + 1] - step->by[i]);

        // Exact penalty: its minimum is the constrained one when the penalty exceeds the multipliers.
        penalty = std::max(penalty, 2.0 * largest(step->multipliers));
        const auto merit = [&](const Point& q) {
            return q.slope + penalty * (std::abs(q.miss[0]) + std::abs(q.miss[1]) + std::abs(q.miss[2]));
        };
        const double before = merit(p), fall = by_slope - (before - p.slope);
        double t = std::min(1.0, 2.0 / longest);
        Column z;
        for (;; t *= 0.5) {
            for (std::size_t i = 0; i < n; ++i) z[i] = p.z[i] + t * step->by[i];
            const Point next(z, colour);
            const bool rounding_only = longest < 1e-6;
            if (rounding_only || merit(next) <= before + 1e-4 * t * std::min(fall, 0.0) || t < 1e-6) {
                p = next;
                break;
            }
        }
        for (std::size_t k = 0; k < 3; ++k) multipliers[k] += t * (step->multipliers[k] - multipliers[k]);
        if (longest < 1e-7 && largest(p.miss) < 1e-11) return Spectrum{p.r};
    }
    return not_found();
}

}  // namespace bindhue

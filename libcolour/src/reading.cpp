#include "colour/reading.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <vector>

#include "matrix_eigen.hpp"

namespace bindhue {
namespace {

// How much of the difference between two independent readings is the first one's error: C1 (C1 + C2)^-1, with
// the pseudo-inverse, so that directions in which both are exact stay defined.
Square share_of_first(const Square& first, const Square& second) {
    const Eigen::SelfAdjointEigenSolver<Square> sum(first + second);
    const double floor = 1e-14 * std::max(sum.eigenvalues()[2], 0.0);
    Eigen::Vector3d inverse;
    for (int i = 0; i < 3; ++i) {
        const double value = sum.eigenvalues()[i];
        inverse[i] = value > floor && value > 0 ? 1.0 / value : 0.0;
    }
    return first * (sum.eigenvectors() * inverse.asDiagonal() * sum.eigenvectors().transpose());
}

Square symmetric_root(const Square& covariance) {
    const Eigen::SelfAdjointEigenSolver<Square> solver(covariance);
    return solver.eigenvectors() * solver.eigenvalues().cwiseMax(0.0).cwiseSqrt().asDiagonal() *
           solver.eigenvectors().transpose();
}

// How far what two readings of one kind share is the same for both: the fit's error runs smoothly through
// colour. The width is that over which held-out errors of a card are taken for alike (camera_fit.cpp).
double likeness(const Lab<D50>& one, const Lab<D50>& other) {
    constexpr double width = 25;
    const double apart = cie1976(one, other);
    return std::exp(-0.5 * apart * apart / (width * width));
}

Square square_root(const Square& covariance) {
    const Eigen::SelfAdjointEigenSolver<Square> solver(covariance);
    return solver.eigenvectors() * solver.eigenvalues().cwiseMax(0.0).cwiseSqrt().asDiagonal();
}

// Quantile of the standard normal distribution, 0 < p < 1, by bisecting its integral: only for the table
// below, once.
double normal_quantile(double p) {
    double low = -9, high = 9;
    for (int i = 0; i < 60; ++i) {
        const double middle = 0.5 * (low + high);
        (0.5 * std::erfc(-middle * std::sqrt(0.5)) < p ? low : high) = middle;
    }
    return 0.5 * (low + high);
}

constexpr int sample_size = 512;
using Sample = Eigen::Matrix<double, 6, sample_size>;

// Additive recurrence by the powers of the root of x^7 = x + 1 (the generalised golden ratio), centred and
// whitened: mean and covariance are those of the standard normal distribution exactly.
const Sample& standard_sample() {
    static const Sample sample = [] {
        Sample s;
        const double root = 1.1127756842787055;
        for (int axis = 0; axis < 6; ++axis) {
            const double step = std::pow(root, -(axis + 1));
            for (int i = 0; i < sample_size; ++i) {
                const double u = 0.5 + step * (i + 1);
                s(axis, i) = normal_quantile(u - std::floor(u));
            }
        }
        s.colwise() -= s.rowwise().mean().eval();
        const Eigen::Matrix<double, 6, 6> covariance = s * s.transpose() / sample_size;
        return Sample(covariance.llt().matrixL().solve(s));
    }();
    return sample;
}

// How far the shared parts of two readings of one thing are the same error.
double correlation(const ReadingContext& one, const ReadingContext& other) {
    constexpr double under_unlike_light = 0.5;
    const auto differ = [](const std::string& x, const std::string& y) {
        return !x.empty() && !y.empty() && x != y;
    };
    return differ(one.camera, other.camera) || differ(one.light, other.light) ? under_unlike_light : 1.0;
}

void keep_if_equal(std::string& one, const std::string& other) {
    if (one != other) one.clear();
}

// Whether the least variance in any direction is no less than -slack, give or take rounding. Cholesky's factorisation tells it ten times
// sooner than eigenvalues do. Precondition: slack is far above the rounding of c, or c is zero.
bool no_variance_below(const Square& c, double slack) {
    return c.isZero(0) || Eigen::LLT<Square>(c + slack * Square::Identity()).info() == Eigen::Success;
}

Status check_covariance(const Matrix3& c, const char* where) {
    const auto fault = [&](const char* what, const char* mend) -> Status {
        return Error{Reason::bad_value, what, where, mend};
    };
    double largest = 0;
    for (const double value : c.m) {
        if (!std::isfinite(value))
            return fault("A covariance is not a finite number.",
                         "Give nine plain numbers, or zeros if unknown.");
        largest = std::max(largest, std::abs(value));
    }
    if (largest > 1e6)
        return fault("A variance is over 10^6: nothing is known of this colour.", "Read the colour again.");
    for (std::size_t i = 0; i < 3; ++i)
        for (std::size_t j = 0; j < i; ++j)
            if (std::abs(c(i, j) - c(j, i)) > 1e-9 * largest)
                return fault("The covariance is not symmetric.", "Element (i, j) must equal element (j, i).");
    if (!no_variance_below(to_eigen(c), 1e-9 * largest))
        return fault("The covariance has a negative variance in some direction.",
                     "Correlations must lie within -1..1.");
    return ok();
}

}  // namespace

bool ReadingContext::same_kind(const ReadingContext& other) const {
    return !camera.empty() && !card.empty() && !light.empty() && camera == other.camera &&
           card == other.card && light == other.light;
}

Status validate(const Reading& reading) {
    const auto fault = [](const char* what, const char* where, const char* mend) -> Status {
        return Error{Reason::bad_value, what, where, mend};
    };
    const auto& [L, a, b] = reading.lab;
    if (!std::isfinite(L) || !std::isfinite(a) || !std::isfinite(b))
        return fault("A Lab value is not a finite number.", "lab", "Give L, a and b as plain numbers.");
    if (L < 0 || L > 110)
        return fault("L is outside 0..110.", "lab", "Check that the value is CIELAB L, not XYZ or RGB.");
    if (std::abs(a) > 200 || std::abs(b) > 200)
        return fault("a or b is outside -200..200.", "lab", "Check the order and the scale of the numbers.");
    if (const Status status = check_covariance(reading.covariance, "covariance"); !status) return status;
    if (reading.shared.m == Matrix3{}.m) return ok();
    if (const Status status = check_covariance(reading.shared, "shared"); !status) return status;
    const Square own = to_eigen(reading.covariance) - to_eigen(reading.shared);
    if (!no_variance_below(own, 1e-9 * to_eigen(reading.covariance).cwiseAbs().maxCoeff()))
        return fault("More is shared than the whole covariance.", "shared",
                     "Give the part of the covariance that is shared, or leave it out.");
    return ok();
}

Matrix3 difference_covariance(const Reading& one, const Reading& other) {
    Square sum = to_eigen(one.covariance) + to_eigen(other.covariance);
    if (one.context.same_kind(other.context)) {
        const Square cross =
            symmetric_root(to_eigen(one.shared)) * symmetric_root(to_eigen(other.shared)).transpose();
        sum -= likeness(one.lab, other.lab) * (cross + cross.transpose());
    }
    return from_eigen(sum);
}

Reading combine(std::span<const Reading> readings) {
    // Far below any instrument: keeps exact readings finite, and lets them win.
    constexpr double floor = 1e-12;
    Square sum = Square::Zero();
    Eigen::Vector3d weighted = Eigen::Vector3d::Zero();
    std::vector<Square> weights, roots;
    for (const Reading& r : readings) {
        weights.emplace_back((to_eigen(r.covariance) + floor * Square::Identity()).inverse());
        roots.push_back(symmetric_root(to_eigen(r.shared)));
        sum += weights.back();
        weighted += weights.back() * to_eigen(r.lab.vector());
    }
    const Square scale = sum.inverse();
    Square covariance = Square::Zero(), shared = Square::Zero();
    for (std::size_t i = 0; i < readings.size(); ++i)
        for (std::size_t j = 0; j < readings.size(); ++j) {
            const Square both = weights[i] * roots[i] * roots[j].transpose() * weights[j].transpose() *
                                (i == j ? 1.0 : correlation(readings[i].context, readings[j].context));
            shared += both;
            covariance += both;
            if (i == j)
                covariance += weights[i] * (to_eigen(readings[i].covariance) - to_eigen(readings[i].shared)) *
                              weights[i].transpose();
        }
    const Eigen::Vector3d x = scale * weighted;
    Reading out{{x[0], x[1], x[2]},
                from_eigen(scale * covariance * scale),
                readings.front().context,
                from_eigen(scale * shared * scale)};
    for (const Reading& r : readings.subspan(1)) {
        keep_if_equal(out.context.camera, r.context.camera);
        keep_if_equal(out.context.card, r.context.card);
        keep_if_equal(out.context.light, r.context.light);
    }
    return out;
}

double disagreement(const Reading& one, const Reading& other) {
    const Vector3 a = one.lab.vector(), b = other.lab.vector();
    return mahalanobis_squared({a[0] - b[0], a[1] - b[1], a[2] - b[2]},
                               {{}, difference_covariance(one, other), {}});
}

double mahalanobis_squared(const Lab<D50>& point, const Reading& reading) {
    constexpr double floor = 1e-4;  // variance of 0.01 Lab units: far below any instrument
    const Square c = to_eigen(reading.covariance) + floor * Square::Identity();
    const Eigen::Vector3d d = to_eigen(point.vector()) - to_eigen(reading.lab.vector());
    return d.dot(c.ldlt().solve(d));
}

// CIEDE2000 depends on both colours, six dimensions, but far more on their difference than on where they lie.
// So the first three coordinates of the sample, the most evenly filled, drive the difference, and the other
// three what is left free of the place when the difference is given: both move by the same random shift.
DifferenceDistribution::DifferenceDistribution(const Reading& reference, const Reading& sample,
                                               const DifferenceWeights& weights) {
    Square cr = to_eigen(reference.covariance), cs = to_eigen(sample.covariance);
    if (reference.context.same_kind(sample.context)) {
        // Taken from each side alike: the place of both, which this moves too, hardly matters.
        const double same = likeness(reference.lab, sample.lab);
        cr -= same * to_eigen(reference.shared);
        cs -= same * to_eigen(sample.shared);
    }
    at_best_ = detail::ciede2000(reference.lab.vector(), sample.lab.vector(), weights);
    static_assert(std::tuple_size_v<decltype(sorted_)> == sample_size);

    const Eigen::Vector3d r = to_eigen(reference.lab.vector()), s = to_eigen(sample.lab.vector());
    const Square deviation = square_root(cr + cs), share = share_of_first(cr, cs);
    const Square place = square_root(cr - share * cr);
    const Square by_reference = -share * deviation, by_sample = (Square::Identity() - share) * deviation;
    const Sample& z = standard_sample();
    for (int i = 0; i < sample_size; ++i) {
        const Eigen::Vector3d shift = place * z.col(i).tail<3>();
        const Eigen::Vector3d ri = r + by_reference * z.col(i).head<3>() + shift;
        const Eigen::Vector3d si = s + by_sample * z.col(i).head<3>() + shift;
        sorted_[static_cast<std::size_t>(i)] =
            detail::ciede2000({ri[0], ri[1], ri[2]}, {si[0], si[1], si[2]}, weights);
    }
    std::sort(sorted_.begin(), sorted_.end());
    expected_ = std::accumulate(sorted_.begin(), sorted_.end(), 0.0) / sample_size;
}

double DifferenceDistribution::quantile(double p) const {
    // Each of the sorted values stands for the middle of its own share of the distribution.
    const double place = std::clamp(p * sample_size - 0.5, 0.0, sample_size - 1.0);
    const auto below = static_cast<std::size_t>(place);
    const std::size_t above = std::min<std::size_t>(below + 1, sample_size - 1);
    return std::lerp(sorted_[below], sorted_[above], place - static_cast<double>(below));
}

double DifferenceDistribution::pass_chance(double tolerance) const {
    const auto passed = std::upper_bound(sorted_.begin(), sorted_.end(), tolerance) - sorted_.begin();
    return static_cast<double>(passed) / sample_size;
}

std::string lean(const Lab<D50>& reference, const Lab<D50>& sample) {
    constexpr double visible = 0.5;
    const DifferenceTerms terms = ciede2000_terms(reference, sample);
    if (!(terms.total >= visible)) return {};

    struct Word {
        const char* text;
        double size;
    };
    std::array<Word, 3> words{Word{terms.L > 0 ? "lighter" : "darker", std::abs(terms.L)}, Word{}, Word{}};

    // A shift in a and b goes by the name of the axis that it follows most.
    const auto axis_word = [](double along_a, double along_b) {
        if (std::abs(along_a) > std::abs(along_b)) return along_a > 0 ? "redder" : "greener";
        return along_b > 0 ? "yellower" : "bluer";
    };
    const double da = sample.a - reference.a, db = sample.b - reference.b;
    const double chroma_reference = std::hypot(reference.a, reference.b);
    const double chroma_sample = std::hypot(sample.a, sample.b);
    constexpr double near_neutral = 4.0;  // below, hue is no more than noise, and a grey is not "duller"
    if (std::min(chroma_reference, chroma_sample) < near_neutral &&
        std::max(chroma_reference, chroma_sample) < 4 * near_neutral) {
        words[1] = {axis_word(da, db), std::hypot(terms.C, terms.H)};
    } else {
        words[1] = {terms.C > 0 ? "more vivid" : "duller", std::abs(terms.C)};
        // The part of the shift across the mean direction from grey, which changes the hue.
        double ua = 0, ub = 0;
        if (chroma_reference > 0) ua += reference.a / chroma_reference, ub += reference.b / chroma_reference;
        if (chroma_sample > 0) ua += sample.a / chroma_sample, ub += sample.b / chroma_sample;
        const double across = ua * db - ub * da;
        words[2] = {axis_word(-ub * across, ua * across), std::abs(terms.H)};
    }
    std::stable_sort(words.begin(), words.end(),
                     [](const Word& x, const Word& y) { return x.size > y.size; });

    // The largest always; the others if they can be seen themselves and are not dwarfed by it.
    std::string out = words[0].text;
    for (std::size_t i = 1; i < words.size(); ++i)
        if (words[i].size >= visible && words[i].size >= 0.3 * words[0].size)
            out.append(", ").append(words[i].text);
    return out;
}

}  // namespace bindhue

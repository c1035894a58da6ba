#include "colour/coat_learning.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

namespace bindhue {
namespace {

constexpr int physical = 5, features = 5, unknowns = physical + 3 * features;
using Vector = Eigen::Matrix<double, unknowns, 1>;
using Square = Eigen::Matrix<double, unknowns, unknowns>;
using Slope = Eigen::Matrix<double, 3, unknowns>;

// Prior deviations of the residual's weights, CIELAB: of its mean, and of its change over 30 units of dry L, a, b or the ground's L (guesses;
// slopes of 0.5, 1 and 2 were tried on coat tests by plates and by rays, seeds 1 and 2 of each: 0.5 predicted best on both).
constexpr double mean_width = 2.0, slope_width = 0.5;
// Scatter of a test on each axis before any is seen, as a share of what the model is thought to leave out; for how many tests that counts;
// and how much wider than its middle Student's t reaches. Chosen on rendered coat tests (tests/accuracy/coat_accuracy.cpp, seeds 1 and 2).
constexpr double usual_scatter = 0.7, usual_scatter_tests = 4, tails = 2;
constexpr double freedom = 4;  // of Student's t
// How far the scattering of one spool lies from that of its material, and what a bare layer's scattering is off from the one that coat tests ask for (they
// make good by it what else the model has wrong), in the prior's deviations. Guesses; the second was chosen on seed 1 of both judges of coats.
constexpr double between_spools = 0.25, bare_from_coated = 0.6;
constexpr double outlier_weight = 0.3;
constexpr int most_rounds = 15;
constexpr double settled = 0.01;  // of prior deviations and of CIELAB units: far below what the tests leave open

std::array<double, features> features_of(const Lab<D50>& dry, const Lab<D50>& ground) {
    return {1, (dry.L - 50) / 30, dry.a / 30, dry.b / 30, (ground.L - 50) / 30};
}

Eigen::Vector3d vector_of(const Lab<D50>& lab) { return {lab.L, lab.a, lab.b}; }

// A wrap whose look depends on the unknowns.
struct Case {
    Material material;
    Schedule schedule;
    double size_mm;
    const Surface* dry;
    const Surface* ground;

    static std::array<double, physical> moved_by(const Vector& at) {
        std::array<double, physical> z{};
        for (int k = 0; k < physical; ++k) z[static_cast<std::size_t>(k)] = std::clamp(at(k), -4.0, 4.0);
        return z;
    }
    Eigen::Vector3d look(const Vector& at) const {
        Eigen::Vector3d out =
            vector_of(coated_look(coating_prior(material, schedule, moved_by(at)), size_mm, *dry, *ground));
        const auto f = features_of(dry->reading().lab, ground->reading().lab);
        for (int axis = 0; axis < 3; ++axis)
            for (int k = 0; k < features; ++k)
                out(axis) += at(physical + axis * features + k) * f[static_cast<std::size_t>(k)];
        return out;
    }
    LookSlopes slopes(const Vector& at) const {
        return look_slopes(material, schedule, moved_by(at), size_mm, *dry, *ground);
    }
    Slope slope(const LookSlopes& slopes) const {
        Slope out = Slope::Zero();
        for (int k = 0; k < physical; ++k)
            for (int axis = 0; axis < 3; ++axis)
                out(axis, k) = slopes.by_parameter[static_cast<std::size_t>(k)][static_cast<std::size_t>(axis)];
        const auto f = features_of(dry->reading().lab, ground->reading().lab);
        for (int axis = 0; axis < 3; ++axis)
            for (int k = 0; k < features; ++k)
                out(axis, physical + axis * features + k) = f[static_cast<std::size_t>(k)];
        return out;
    }
};

Matrix3 carried(const Matrix3& slope, const Matrix3& covariance) {
    const Matrix3 c = slope * covariance * transpose(slope);
    return 0.5 * (c + transpose(c));
}

Vector prior_precision() {
    Vector out;
    for (int k = 0; k < physical; ++k) out(k) = 1;
    for (int k = physical; k < unknowns; ++k) {
        const double width = (k - physical) % features == 0 ? mean_width : slope_width;
        out(k) = 1 / (width * width);
    }
    return out;
}

Reading exact(const Lab<D50>& lab) { return {lab, {}, {}}; }

}  // namespace

CoatModel::CoatModel(std::span<const CoatTest> tests) {
    std::vector<Surface> dry, ground;
    for (const CoatTest& t : tests) {
        dry.push_back(Surface::nearest(exact(t.dry)));
        ground.push_back(Surface::nearest(exact(t.ground)));
    }
    const Vector precision = prior_precision();
    for (const Material material : all_materials)
        for (const Schedule schedule : all_schedules) {
            std::vector<std::size_t> own;
            for (std::size_t i = 0; i < tests.size(); ++i)
                if (tests[i].material == material && tests[i].schedule == schedule) own.push_back(i);
            if (own.empty() || material == Material::metallic) continue;

            Vector at = Vector::Zero();
            const double usual = std::pow(usual_scatter * coating_residual(material, schedule), 2);
            double scatter = usual;
            std::vector<double> weight(own.size(), 1);
            Square curvature;
            for (int round = 0; round < most_rounds; ++round) {
                curvature = precision.asDiagonal();
                Vector downhill = -precision.cwiseProduct(at);
                double squares = 0;
                for (std::size_t i = 0; i < own.size(); ++i) {
                    const CoatTest& t = tests[own[i]];
                    const Case wrap{material, schedule, t.size_mm, &dry[own[i]], &ground[own[i]]};
                    const Eigen::Vector3d left = vector_of(t.finished) - wrap.look(at);
                    const LookSlopes slopes = wrap.slopes(at);
                    const Matrix3 readings = t.finished_covariance + carried(slopes.by_dry, t.dry_covariance) +
                                             carried(slopes.by_ground, t.ground_covariance);
                    const Eigen::Matrix3d noise = Eigen::Map<const Eigen::Matrix3d>(readings.m.data());  // symmetric
                    const Eigen::Matrix3d precise = (noise + scatter * Eigen::Matrix3d::Identity()).inverse();
                    weight[i] = (freedom + 3) / (freedom + left.dot(precise * left));
                    const Slope slope = wrap.slope(slopes);
                    curvature += weight[i] * slope.transpose() * precise * slope;
                    downhill += weight[i] * slope.transpose() * (precise * left);
                    squares += weight[i] * (left.squaredNorm() - noise.trace());
                }
                const Vector step = curvature.ldlt().solve(downhill);
                at += step * std::min(1.0, 1.0 / std::max(step.head(physical).cwiseAbs().maxCoeff(), 1e-9));
                const double before = scatter;
                // Residuals are smaller than errors by the freedom that the unknowns took.
                const double taken = unknowns - curvature.ldlt().solve(Square(precision.asDiagonal())).trace();
                const double free = std::max(3.0 * static_cast<double>(own.size()) - taken, 0.0);
                scatter = (std::max(squares, 0.0) + 3 * usual_scatter_tests * usual) /
                          (free + 3 * usual_scatter_tests);
                if (step.cwiseAbs().maxCoeff() < settled && std::abs(scatter - before) < settled * before) break;
            }
            Learned out{material, schedule, own.size(), {}, {}, scatter};
            const Square covariance = curvature.inverse();
            for (int r = 0; r < unknowns; ++r) {
                out.at[static_cast<std::size_t>(r)] = at(r);
                for (int c = 0; c < unknowns; ++c)
                    out.covariance[static_cast<std::size_t>(r * unknowns + c)] = covariance(r, c);
            }
            learned_.push_back(out);
            for (std::size_t i = 0; i < own.size(); ++i)
                if (weight[i] < outlier_weight) outliers_.push_back(own[i]);
        }
    std::sort(outliers_.begin(), outliers_.end());
}

const CoatModel::Learned* CoatModel::find(Material material, Schedule schedule) const {
    const auto found = std::find_if(learned_.begin(), learned_.end(), [&](const Learned& l) {
        return l.material == material && l.schedule == schedule;
    });
    return found == learned_.end() ? nullptr : &*found;
}

// The posterior of this thread: its scattering is its material's and what is its own, seen with the opacity's error (Kalman's step).
CoatModel::Learned CoatModel::knowing(Learned learned, double size_mm, const std::optional<LayerOpacity>& opacity) {
    if (!opacity) return learned;
    const InPriorDeviations known = scattering_known(learned.material, size_mm, *opacity);
    Eigen::Map<Vector> at(learned.at.data());
    Eigen::Map<Square> covariance(learned.covariance.data());
    covariance(0, 0) += between_spools * between_spools;
    const Vector gain = covariance.col(0) / (covariance(0, 0) + known.sd * known.sd + bare_from_coated * bare_from_coated);
    at += gain * (known.at - at(0));
    const Square less = gain * covariance.row(0);
    covariance -= less;
    return learned;
}

std::size_t CoatModel::tests(Material material, Schedule schedule) const {
    const Learned* learned = find(material, schedule);
    return learned == nullptr ? 0 : learned->tests;
}

std::vector<CoatLesson> CoatModel::lessons() const {
    std::vector<CoatLesson> out;
    for (const Learned& l : learned_) {
        const Vector at = Eigen::Map<const Vector>(l.at.data());
        CoatLesson lesson{l.material, l.schedule, l.tests, coating_prior(l.material, l.schedule),
                          coating_prior(l.material, l.schedule, Case::moved_by(at)), Case::moved_by(at), {}, std::sqrt(l.scatter)};
        for (std::size_t k = 0; k < physical; ++k) lesson.spread[k] = std::sqrt(l.covariance[k * unknowns + k]);
        out.push_back(lesson);
    }
    return out;
}

Result<Reading> CoatModel::predict(Material material, Schedule schedule, double size_mm, const Reading& dry,
                                   const Reading& ground, const std::optional<LayerOpacity>& opacity) const {
    const Result<WrapSurfaces> wrap = wrap_surfaces(size_mm, dry, ground);
    if (!wrap) return wrap.error();
    if (opacity)
        if (const Status sound = validate(*opacity); !sound) return sound.error();
    const FinishedCovariance covariance = predicted_covariance(material, schedule, size_mm, wrap->dry, wrap->ground, opacity);
    return Reading{predicted_look(material, schedule, size_mm, wrap->dry, wrap->ground, opacity),
                   covariance.from_dry + covariance.rest, dry.context};
}

Lab<D50> CoatModel::predicted_look(Material material, Schedule schedule, double size_mm, const Surface& dry,
                                   const Surface& ground, const std::optional<LayerOpacity>& opacity) const {
    const Learned* learned = find(material, schedule);
    if (learned == nullptr) return bindhue::predicted_look(material, schedule, size_mm, dry, ground, opacity);
    const Case wrap{material, schedule, size_mm, &dry, &ground};
    const Learned of_thread = knowing(*learned, size_mm, opacity);
    const Eigen::Vector3d look = wrap.look(Eigen::Map<const Vector>(of_thread.at.data()));
    return {std::clamp(look(0), 0.0, 110.0), look(1), look(2)};
}

FinishedCovariance CoatModel::predicted_covariance(Material material, Schedule schedule, double size_mm,
                                                   const Surface& dry, const Surface& ground,
                                                   const std::optional<LayerOpacity>& opacity) const {
    const Learned* learned = find(material, schedule);
    if (learned == nullptr) return bindhue::predicted_covariance(material, schedule, size_mm, dry, ground, opacity);
    const Case wrap{material, schedule, size_mm, &dry, &ground};
    const Learned of_thread = knowing(*learned, size_mm, opacity);
    const LookSlopes slopes = wrap.slopes(Eigen::Map<const Vector>(of_thread.at.data()));
    const Slope slope = wrap.slope(slopes);
    const Eigen::Matrix3d learnt = slope * Eigen::Map<const Square>(of_thread.covariance.data()) * slope.transpose() +
                                   tails * of_thread.scatter * Eigen::Matrix3d::Identity();
    FinishedCovariance out{carried(slopes.by_dry, dry.reading().covariance), carried(slopes.by_dry, dry.reading().shared),
                           carried(slopes.by_ground, ground.reading().covariance), slopes.by_dry};
    for (int r = 0; r < 3; ++r)
        for (int c = 0; c < 3; ++c) {
            const auto i = static_cast<std::size_t>(r), k = static_cast<std::size_t>(c);
            // A colour that no plain surface has may coat as none does.
            out.rest(i, k) += 0.5 * (learnt(r, c) + learnt(c, r)) + dry.misfit()[i] * dry.misfit()[k];
        }
    return out;
}

}  // namespace bindhue

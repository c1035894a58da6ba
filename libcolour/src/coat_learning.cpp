#include "colour/coat_learning.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <map>

#include "matrix_eigen.hpp"

namespace bindhue {
namespace {

constexpr Eigen::Index physical = coating_parameters, moves = 3, shared = moves * physical;
using Five = Eigen::Matrix<double, physical, 1>;
using FiveSquare = Eigen::Matrix<double, physical, physical>;
using Slope = Eigen::Matrix<double, 3, physical>;

// How alike two kinds of coat are thought to be in each parameter where they differ in one thing; the correlations multiply. Guesses. Scattering is the dry
// thread's, whatever is put on it; how a seal touches says little of how a finish soaks; the film's underside is the product's and the brush's.
struct Alike {
    PriorDeviations materials{0.5, 0.5, 0.5, 0.3, 0.5}, schedules{0.9, 0.2, 0.3, 0.0, 0.3}, products{0.98, 0.8, 0.8, 0.7, 0.6};
};
constexpr Alike alike;
// Prior deviations by which a doubling of the coats, a high build instead of a thin one and a doubling of the thread's size may move each parameter (a guess).
constexpr double move_width = 0.3;
// By how many the wraps of one material and schedule differ: dye lots, and how the coat took (guesses; chosen on rendered coat tests, seeds 320 to 322 of both judges).
constexpr double lot_scattering = 0.3, lot_ratios = 0.4, lot_touch = 0.6;
const Five between_wraps{lot_scattering, lot_ratios, lot_ratios, lot_touch, lot_touch};
// What a bare layer's scattering is off from the one that coat tests ask for (they make good by it what else the model has wrong), in the prior's deviations.
constexpr double bare_from_coated = 0.3;

// Scatter of a test on each axis before any is seen, as a share of what the model is thought to leave out; for how many tests that counts;
// and how much wider than its middle Student's t reaches. Chosen on rendered coat tests (tests/accuracy/coat_accuracy.cpp, seeds 320 to 322).
constexpr double usual_scatter = 0.6, usual_scatter_tests = 4, tails = 2.5;
// Of the scatter, the share that runs smoothly over colours; and over which distance in CIELAB (dry, ground). Chosen there too.
constexpr double smooth_share = 0.3;
constexpr double dry_length = 40, ground_length = 60;
constexpr std::size_t most_places = 100;  // the latest tests of a kind
constexpr double freedom = 8;             // of Student's t
constexpr double outlier_weight = 0.4;
constexpr int most_rounds = 15;
constexpr double settled = 0.01;  // of prior deviations: far below what the tests leave open

double likeness(std::size_t parameter, bool material, bool schedule, bool product) {
    return (material ? 1 : alike.materials[parameter]) * (schedule ? 1 : alike.schedules[parameter]) * (product ? 1 : alike.products[parameter]);
}

double size_move(double size_mm) { return std::clamp(std::log2(size_mm / nominal_thread_mm), -1.5, 1.5); }

// How far along coats, build and size a wrap lies from what is usual.
std::array<double, moves> moved(Schedule schedule, double size_mm, const FinishUse& finish) {
    const double usual = std::max(1, coats(schedule));
    return {finish.coats > 0 ? std::clamp(std::log2(finish.coats / usual), -1.5, 1.5) : 0,
            finish.build == Build::thin   ? -0.5
            : finish.build == Build::high ? 0.5
                                          : 0,
            size_move(size_mm)};
}

PriorDeviations within(const Five& at) {
    PriorDeviations z{};
    for (Eigen::Index k = 0; k < physical; ++k) z[static_cast<std::size_t>(k)] = std::clamp(at(k), -4.0, 4.0);
    return z;
}
Five five(const PriorDeviations& z) { return Eigen::Map<const Five>(z.data()); }
FiveSquare square(const std::array<PriorDeviations, coating_parameters>& m) {
    FiveSquare out;
    for (Eigen::Index r = 0; r < physical; ++r) out.row(r) = five(m[static_cast<std::size_t>(r)]).transpose();
    return out;
}
std::array<PriorDeviations, coating_parameters> rows(const FiveSquare& m) {
    std::array<PriorDeviations, coating_parameters> out{};
    for (Eigen::Index r = 0; r < physical; ++r)
        for (Eigen::Index c = 0; c < physical; ++c) out[static_cast<std::size_t>(r)][static_cast<std::size_t>(c)] = m(r, c);
    return out;
}

Slope slope_of(const LookSlopes& slopes) {
    Slope out;
    for (Eigen::Index k = 0; k < physical; ++k) out.col(k) = to_eigen(slopes.by_parameter[static_cast<std::size_t>(k)]);
    return out;
}

Square carried(const Matrix3& slope, const Matrix3& covariance) { return to_eigen(slope) * to_eigen(covariance) * to_eigen(slope).transpose(); }

Reading exact(const Lab<D50>& lab) { return {lab, {}, {}}; }

std::array<double, 6> place_of(const Lab<D50>& dry, const Lab<D50>& ground) {
    return {dry.L / dry_length, dry.a / dry_length, dry.b / dry_length, ground.L / ground_length, ground.a / ground_length, ground.b / ground_length};
}
double nearness(const std::array<double, 6>& one, const std::array<double, 6>& other) {
    double squared = 0;
    for (std::size_t k = 0; k < one.size(); ++k) squared += (one[k] - other[k]) * (one[k] - other[k]);
    return std::exp(-0.5 * squared);
}

// A test while it is fitted.
struct Fitted {
    std::size_t group = 0, kind = 0;
    Surface dry, ground;
    std::array<double, moves> moved{};
    double weight = 1;
    Eigen::Vector3d left = Eigen::Vector3d::Zero();
    Square noise = Square::Zero();  // of the readings, and what spools differ by
};

}  // namespace

std::string_view name(Build build) { return build == Build::thin ? "thin" : build == Build::high ? "high" : ""; }
Result<Build> parse_build(std::string_view text) {
    for (const Build build : all_builds)
        if (text == name(build)) return build;
    return Error{Reason::bad_value, "Unknown build \"" + std::string(text.substr(0, 40)) + "\".", "build", "Use one of: thin, high; or leave it out."};
}

std::size_t CoatModel::index(Material material, Schedule schedule) {
    return static_cast<std::size_t>(material) * all_schedules.size() + static_cast<std::size_t>(schedule);
}

CoatModel::CoatModel(std::span<const CoatTest> tests) {
    std::vector<Fitted> fitted;
    std::vector<std::size_t> given;
    for (const Material material : all_materials)
        for (const Schedule schedule : all_schedules) {
            if (material == Material::metallic) continue;
            std::map<std::string, std::size_t> of_product;
            for (std::size_t i = 0; i < tests.size(); ++i) {
                const CoatTest& t = tests[i];
                if (t.material != material || t.schedule != schedule) continue;
                const auto [found, is_new] = of_product.try_emplace(t.finish.product, groups_.size());
                if (is_new) groups_.push_back({material, schedule, t.finish.product, 0});
                ++groups_[found->second].tests;
                ++kinds_[index(material, schedule)].tests;
                given.push_back(i);
                fitted.push_back({found->second, index(material, schedule), Surface::nearest(exact(t.dry)), Surface::nearest(exact(t.ground)),
                                  bindhue::moved(schedule, t.size_mm, t.finish)});
            }
        }
    if (fitted.empty()) return;

    const Eigen::Index count = static_cast<Eigen::Index>(groups_.size()), all = count * physical + shared;
    Eigen::MatrixXd prior = Eigen::MatrixXd::Zero(all, all);
    for (Eigen::Index k = 0; k < physical; ++k) {
        Eigen::MatrixXd covariance(count, count);
        for (Eigen::Index r = 0; r < count; ++r)
            for (Eigen::Index c = 0; c < count; ++c) {
                const Group &one = groups_[static_cast<std::size_t>(r)], &other = groups_[static_cast<std::size_t>(c)];
                covariance(r, c) = likeness(static_cast<std::size_t>(k), one.material == other.material, one.schedule == other.schedule, one.product == other.product);
            }
        const Eigen::MatrixXd precision = covariance.inverse();
        for (Eigen::Index r = 0; r < count; ++r)
            for (Eigen::Index c = 0; c < count; ++c) prior(r * physical + k, c * physical + k) = precision(r, c);
    }
    for (Eigen::Index k = count * physical; k < all; ++k) prior(k, k) = 1 / (move_width * move_width);

    std::array<double, kind_count> usual{};
    std::array<Eigen::Vector3d, kind_count> scatter;
    for (const Material material : all_materials)
        for (const Schedule schedule : all_schedules)
            scatter[index(material, schedule)].setConstant(usual[index(material, schedule)] = std::pow(usual_scatter * coating_residual(material, schedule), 2));

    Eigen::VectorXd at = Eigen::VectorXd::Zero(all);
    Eigen::MatrixXd covariance;
    for (int round = 0; round < most_rounds; ++round) {
        Eigen::MatrixXd curvature = prior;
        Eigen::VectorXd downhill = -prior * at;
        struct Seen {
            Slope slope;
            Square precise;
        };
        std::vector<Seen> seen(fitted.size());
        std::array<Eigen::Vector3d, kind_count> squares, taken;
        squares.fill(Eigen::Vector3d::Zero());
        taken.fill(Eigen::Vector3d::Zero());
        for (std::size_t i = 0; i < fitted.size(); ++i) {
            Fitted& f = fitted[i];
            const CoatTest& t = tests[given[i]];
            const Eigen::Index first = static_cast<Eigen::Index>(f.group) * physical;
            Five z = at.segment<physical>(first);
            for (Eigen::Index m = 0; m < moves; ++m) z += f.moved[static_cast<std::size_t>(m)] * at.segment<physical>(count * physical + m * physical);
            const PriorDeviations there = within(z);
            f.left = to_eigen(t.finished) - to_eigen(coated_look(coating_prior(t.material, t.schedule, there), t.size_mm, f.dry, f.ground));
            const LookSlopes slopes = look_slopes(t.material, t.schedule, there, t.size_mm, f.dry, f.ground);
            const Slope slope = slope_of(slopes);
            f.noise = to_eigen(t.finished_covariance) + carried(slopes.by_dry, t.dry_covariance) + carried(slopes.by_ground, t.ground_covariance) +
                      slope * between_wraps.cwiseAbs2().asDiagonal() * slope.transpose();
            const Square precise = (f.noise + Square(scatter[f.kind].asDiagonal())).inverse();
            f.weight = (freedom + 3) / (freedom + f.left.dot(precise * f.left));
            squares[f.kind] += f.weight * (f.left.cwiseAbs2() - f.noise.diagonal());
            seen[i] = {slope, f.weight * precise};
            // The parameters of its group, and what moves them.
            std::array<std::pair<Eigen::Index, double>, moves + 1> blocks{{{first, 1.0}}};
            for (Eigen::Index m = 0; m < moves; ++m) blocks[static_cast<std::size_t>(m) + 1] = {count * physical + m * physical, f.moved[static_cast<std::size_t>(m)]};
            const FiveSquare information = slope.transpose() * seen[i].precise * slope;
            const Five pull = slope.transpose() * (seen[i].precise * f.left);
            for (const auto& [row, by_row] : blocks) {
                downhill.segment<physical>(row) += by_row * pull;
                for (const auto& [column, by_column] : blocks) curvature.block<physical, physical>(row, column) += by_row * by_column * information;
            }
        }
        covariance = curvature.inverse();
        const Eigen::VectorXd step = covariance * downhill;
        at += step * std::min(1.0, 1.0 / std::max(step.cwiseAbs().maxCoeff(), 1e-9));
        // Residuals are smaller than errors by the freedom that the unknowns took.
        for (std::size_t i = 0; i < fitted.size(); ++i) {
            const Eigen::Index first = static_cast<Eigen::Index>(fitted[i].group) * physical;
            taken[fitted[i].kind] += (seen[i].slope * covariance.block<physical, physical>(first, first) * seen[i].slope.transpose() * seen[i].precise).diagonal();
        }
        double changed = step.cwiseAbs().maxCoeff();
        for (std::size_t k = 0; k < kind_count; ++k) {
            if (kinds_[k].tests == 0) continue;
            for (Eigen::Index axis = 0; axis < 3; ++axis) {
                const double before = scatter[k](axis), free = std::max(static_cast<double>(kinds_[k].tests) - taken[k](axis), 0.0);
                scatter[k](axis) = (std::max(squares[k](axis), 0.0) + usual_scatter_tests * usual[k]) / (free + usual_scatter_tests);
                changed = std::max(changed, std::abs(scatter[k](axis) - before) / before);
            }
        }
        if (changed < settled) break;
    }
    mean_.assign(at.data(), at.data() + at.size());
    covariance_.assign(covariance.data(), covariance.data() + covariance.size());

    for (std::size_t k = 0; k < kind_count; ++k) {
        Residual& residual = kinds_[k].residual;
        residual.scatter = {scatter[k](0), scatter[k](1), scatter[k](2)};
        std::vector<std::size_t> own;
        for (std::size_t i = 0; i < fitted.size(); ++i)
            if (fitted[i].kind == k) own.push_back(i);
        if (own.size() > most_places) own.erase(own.begin(), own.end() - static_cast<std::ptrdiff_t>(most_places));
        if (own.empty()) continue;
        const Eigen::Index n = static_cast<Eigen::Index>(own.size());
        Eigen::MatrixXd of_left(n, n), left(n, 3);
        for (Eigen::Index i = 0; i < n; ++i) {
            const Fitted& f = fitted[own[static_cast<std::size_t>(i)]];
            residual.places.push_back(place_of(f.dry.reading().lab, f.ground.reading().lab));
            left.row(i) = f.left.transpose();
            for (Eigen::Index j = 0; j <= i; ++j)
                of_left(i, j) = of_left(j, i) = smooth_share * nearness(residual.places[static_cast<std::size_t>(i)], residual.places[static_cast<std::size_t>(j)]);
            of_left(i, i) += (1 - smooth_share + f.noise.trace() / scatter[k].sum()) / std::min(f.weight, 1.0);
        }
        const Eigen::MatrixXd inverse = of_left.inverse();
        const Eigen::MatrixXd weights = inverse * left;
        for (Eigen::Index i = 0; i < n; ++i) residual.weights.push_back({weights(i, 0), weights(i, 1), weights(i, 2)});
        residual.inverse.assign(inverse.data(), inverse.data() + inverse.size());
    }
    for (std::size_t i = 0; i < fitted.size(); ++i)
        if (fitted[i].weight < outlier_weight) outliers_.push_back(given[i]);
    std::sort(outliers_.begin(), outliers_.end());
    look_ahead({});
}

CoatModel CoatModel::with(const FinishUse& finish) const {
    CoatModel out = *this;
    if (!groups_.empty()) out.look_ahead(finish);
    return out;
}

// What is known of a kind that may have no tests: regression on the kinds that have some.
void CoatModel::look_ahead(const FinishUse& finish) {
    const Eigen::Index count = static_cast<Eigen::Index>(groups_.size()), all = count * physical + shared;
    const Eigen::Map<const Eigen::VectorXd> mean(mean_.data(), all);
    const Eigen::Map<const Eigen::MatrixXd> covariance(covariance_.data(), all, all);
    const auto most_used = [&](auto&& counts) {
        std::map<std::string, std::size_t> tests;
        for (const Group& g : groups_)
            if (counts(g)) tests[g.product] += g.tests;
        const auto most = std::max_element(tests.begin(), tests.end(), [](const auto& a, const auto& b) { return a.second < b.second; });
        return most == tests.end() ? std::string() : most->first;
    };
    std::array<Eigen::MatrixXd, coating_parameters> precision;
    for (std::size_t k = 0; k < coating_parameters; ++k) {
        Eigen::MatrixXd between(count, count);
        for (Eigen::Index r = 0; r < count; ++r)
            for (Eigen::Index c = 0; c < count; ++c) {
                const Group &one = groups_[static_cast<std::size_t>(r)], &other = groups_[static_cast<std::size_t>(c)];
                between(r, c) = likeness(k, one.material == other.material, one.schedule == other.schedule, one.product == other.product);
            }
        precision[k] = between.inverse();
    }
    for (const Material material : all_materials)
        for (const Schedule schedule : all_schedules) {
            Kind& kind = kinds_[index(material, schedule)];
            std::string product = finish.product;
            if (product.empty())
                product = kind.tests > 0 ? most_used([&](const Group& g) { return g.material == material && g.schedule == schedule; }) : most_used([](const Group&) { return true; });
            // Its parameters are by_all times the unknowns, and what these leave open.
            Eigen::MatrixXd by_all = Eigen::MatrixXd::Zero(physical, all), by_size = Eigen::MatrixXd::Zero(physical, all);
            Five open;
            for (Eigen::Index k = 0; k < physical; ++k) {
                Eigen::VectorXd with_groups(count);
                for (Eigen::Index g = 0; g < count; ++g) {
                    const Group& other = groups_[static_cast<std::size_t>(g)];
                    with_groups(g) = likeness(static_cast<std::size_t>(k), other.material == material, other.schedule == schedule, other.product == product);
                }
                const Eigen::VectorXd by_groups = precision[static_cast<std::size_t>(k)] * with_groups;
                for (Eigen::Index g = 0; g < count; ++g) by_all(k, g * physical + k) = by_groups(g);
                open(k) = std::max(0.0, 1 - with_groups.dot(by_groups));
            }
            const std::array<double, moves> along = bindhue::moved(schedule, nominal_thread_mm, finish);
            for (Eigen::Index k = 0; k < physical; ++k) {
                for (Eigen::Index m = 0; m + 1 < moves; ++m) by_all(k, count * physical + m * physical + k) = along[static_cast<std::size_t>(m)];
                by_size(k, count * physical + (moves - 1) * physical + k) = 1;
            }
            kind.learned = material != Material::metallic;
            Eigen::Map<Five>(kind.at.data()) = by_all * mean;
            Eigen::Map<Five>(kind.by_size.data()) = by_size * mean;
            kind.covariance = rows(by_all * covariance * by_all.transpose() + FiveSquare(open.asDiagonal()));
            kind.with_size = rows(by_all * covariance * by_size.transpose());
            kind.of_size = rows(by_size * covariance * by_size.transpose());
        }
}

// Of one thread: its material's, and what spools differ by.
CoatingBelief CoatModel::belief(Material material, Schedule schedule, double size_mm, const std::optional<LayerOpacity>& opacity) const {
    const Kind& kind = kinds_[index(material, schedule)];
    const double x = size_move(size_mm);
    const FiveSquare with_size = square(kind.with_size);
    CoatingBelief out;
    out.at = within(five(kind.at) + x * five(kind.by_size));
    out.covariance = rows(square(kind.covariance) + x * (with_size + with_size.transpose()) + x * x * square(kind.of_size));
    if (kind.tests > 0)
        for (std::size_t k = 0; k < coating_parameters; ++k) out.covariance[k][k] += std::pow(between_wraps(static_cast<Eigen::Index>(k)), 2);
    if (opacity) {
        const InPriorDeviations known = scattering_known(material, size_mm, *opacity);
        out.learn(0, known.at, std::hypot(known.sd, kind.tests > 0 ? bare_from_coated : 0));
    }
    return out;
}

std::size_t CoatModel::tests(Material material, Schedule schedule) const { return kinds_[index(material, schedule)].tests; }

std::vector<CoatLesson> CoatModel::lessons() const {
    std::vector<CoatLesson> out;
    const std::size_t all = mean_.size();
    for (std::size_t g = 0; g < groups_.size(); ++g) {
        const Group& group = groups_[g];
        const PriorDeviations at = within(Eigen::Map<const Five>(mean_.data() + coating_parameters * g));
        const Residual& residual = kinds_[index(group.material, group.schedule)].residual;
        CoatLesson lesson{group.material, group.schedule, group.product, group.tests, coating_prior(group.material, group.schedule),
                          coating_prior(group.material, group.schedule, at), at, {}, std::sqrt((residual.scatter[0] + residual.scatter[1] + residual.scatter[2]) / 3)};
        for (std::size_t k = 0; k < coating_parameters; ++k) lesson.spread[k] = std::sqrt(covariance_[(coating_parameters * g + k) * (all + 1)]);
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

std::vector<double> CoatModel::Residual::near(const Lab<D50>& dry, const Lab<D50>& ground) const {
    const std::array<double, 6> here = place_of(dry, ground);
    std::vector<double> out;
    for (const auto& place : places) out.push_back(smooth_share * nearness(here, place));
    return out;
}

Lab<D50> CoatModel::predicted_look(Material material, Schedule schedule, double size_mm, const Surface& dry,
                                   const Surface& ground, const std::optional<LayerOpacity>& opacity) const {
    const Kind& kind = kinds_[index(material, schedule)];
    if (!kind.learned) return bindhue::predicted_look(material, schedule, size_mm, dry, ground, opacity);
    Vector3 look = bindhue::predicted_look(material, schedule, size_mm, dry, ground, belief(material, schedule, size_mm, opacity)).vector();
    const std::vector<double> near = kind.residual.near(dry.reading().lab, ground.reading().lab);
    for (std::size_t i = 0; i < near.size(); ++i)
        for (std::size_t axis = 0; axis < 3; ++axis) look[axis] += near[i] * kind.residual.weights[i][axis];
    return {std::clamp(look[0], 0.0, 110.0), look[1], look[2]};
}

FinishedCovariance CoatModel::predicted_covariance(Material material, Schedule schedule, double size_mm,
                                                   const Surface& dry, const Surface& ground,
                                                   const std::optional<LayerOpacity>& opacity) const {
    const Kind& kind = kinds_[index(material, schedule)];
    if (!kind.learned) return bindhue::predicted_covariance(material, schedule, size_mm, dry, ground, opacity);
    FinishedCovariance out = bindhue::predicted_covariance(material, schedule, size_mm, dry, ground, belief(material, schedule, size_mm, opacity));
    if (kind.tests == 0) {
        out.rest = out.rest + coating_residual(material, schedule, dry);
        return out;
    }
    const std::vector<double> near = kind.residual.near(dry.reading().lab, ground.reading().lab);
    const Eigen::Index n = static_cast<Eigen::Index>(near.size());
    const Eigen::Map<const Eigen::VectorXd> to_places(near.data(), n);
    const Eigen::Map<const Eigen::MatrixXd> inverse(kind.residual.inverse.data(), n, n);
    const double left = std::max(0.0, smooth_share - to_places.dot(inverse * to_places)) + tails * (1 - smooth_share);
    const Vector3& scatter = kind.residual.scatter;
    out.rest = out.rest + Matrix3::diagonal({left * scatter[0], left * scatter[1], left * scatter[2]});
    return out;
}

}  // namespace bindhue

#include "camera_fit_joint.hpp"

#include <algorithm>
#include <cmath>

#include "colour/adaptation.hpp"
#include "colour/quantile.hpp"

namespace bindhue::detail {
namespace {

// Widths of the priors. The tone terms let the slope of the curve differ from sRGB's by a factor of about two
// either way, as the contrast curves of phones do, and the three channels only a little from each other.
constexpr std::array<double, tone_terms> tone_common{0.6, 0.6, 0.45, 0.35, 0.25};
constexpr double tone_apart = 0.05;  // of the common width: one curve is applied to all three channels
// Of the light from a perfect white. Veil has the mean colour of what the lens sees, so its shares are nearly alike.
constexpr double flare_mean = 0.005, flare_common = 0.006, flare_apart = 0.002;
constexpr double field_common = 0.25, field_apart = 0.08;
constexpr double field_common_curved = 0.10, field_apart_curved = 0.03;
constexpr double map_width_linear = 1.0, map_width_encoded = 0.5, root_width = 0.5;

constexpr double huber = 2.0;  // in robust scales; about the 75 % point of the length of a Gaussian 3-vector
constexpr double trap_width = 0.0025;    // how far a trap's reflectance may be from what it says
constexpr double beyond_clip = 0.1;      // how far past the clip a channel may be, of the light from white
constexpr double median_length = 1.538;  // of a standard Gaussian 3-vector
constexpr double least_scale = 0.15, most_scale = 4.0;
constexpr double least_light = 0.05;

double srgb_slope(double s) {
    return s <= 0.04045 ? 1 / 12.92 : 2.4 / 1.055 * std::pow((s + 0.055) / 1.055, 1.4);
}

constexpr int substeps = 4;  // even, for Simpson's rule
constexpr int nodes = static_cast<int>(ToneCurve::knots - 1) * substeps + 1;

struct ToneBasis {
    std::array<double, nodes> slope;
    std::array<std::array<double, tone_terms>, nodes> terms;

    ToneBasis() {
        for (int i = 0; i < nodes; ++i) {
            const auto n = static_cast<std::size_t>(i);
            const double s = static_cast<double>(i) / (nodes - 1), x = 2 * s - 1;
            slope[n] = srgb_slope(s);
            // A power law is a logarithm here, and low polynomials do not hold one; they hold the S of a
            // contrast curve.
            terms[n] = {(std::log(s + 0.05) + 1.5) / 1.5, x, (3 * x * x - 1) / 2, (5 * x * x * x - 3 * x) / 2,
                        (35 * x * x * x * x - 30 * x * x + 3) / 8};
        }
    }
};

// Mean of the map's prior: what a photo that is already in sRGB needs.
const Matrix3& srgb_to_d50() {
    static const Matrix3 matrix = [] {
        Matrix3 m;
        for (std::size_t c = 0; c < 3; ++c) {
            const XYZ<D50> column =
                adapt<D50>(to_xyz(LinearSrgb{c == 0 ? 1.0 : 0, c == 1 ? 1.0 : 0, c == 2 ? 1.0 : 0}));
            m(0, c) = column.X;
            m(1, c) = column.Y;
            m(2, c) = column.Z;
        }
        return m;
    }();
    return matrix;
}

std::size_t at(int i) { return static_cast<std::size_t>(i); }

}  // namespace

ToneFamily::Curve ToneFamily::curve(const Terms& terms) {
    static const ToneBasis basis;
    Curve out{};
    std::array<double, tone_terms + 1> sum{};
    const auto add = [&](int node, double weight) {
        const auto& b = basis.terms[at(node)];
        double power = 0;
        for (std::size_t k = 0; k < b.size(); ++k) power += terms[k] * b[k];
        const double slope = weight * basis.slope[at(node)] * std::exp(std::clamp(power, -20.0, 20.0));
        sum[tone_terms] += slope;
        for (std::size_t k = 0; k < b.size(); ++k) sum[k] += slope * b[k];
    };
    const auto keep = [&](std::size_t knot) {
        out.linear[knot] = sum[tone_terms];
        for (std::size_t k = 0; k < tone_terms; ++k) out.by_term[k][knot] = sum[k];
    };
    keep(0);
    for (std::size_t knot = 1; knot < ToneCurve::knots; ++knot) {
        const int first = static_cast<int>(knot - 1) * substeps;
        const double third = 1.0 / (3.0 * (nodes - 1));
        for (int k = 0; k <= substeps; ++k)
            add(first + k, third * (k == 0 || k == substeps ? 1 : k % 2 == 1 ? 4 : 2));
        keep(knot);
    }
    return out;
}

std::size_t map_terms(ColourModel model) {
    return model == ColourModel::matrix ? 3 : model == ColourModel::root_polynomial ? 6 : 13;
}

MapTerms expand(ColourModel model, const Vector3& q) {
    MapTerms t{q[0], q[1], q[2]};
    if (model == ColourModel::matrix) return t;
    const double r = std::max(q[0], 0.0), g = std::max(q[1], 0.0), b = std::max(q[2], 0.0);
    t[3] = std::sqrt(r * g);
    t[4] = std::sqrt(g * b);
    t[5] = std::sqrt(r * b);
    if (model == ColourModel::root_polynomial) return t;
    const double cr = std::cbrt(r), cg = std::cbrt(g), cb = std::cbrt(b);
    t[6] = cr * cg * cg;
    t[7] = cg * cb * cb;
    t[8] = cr * cb * cb;
    t[9] = cg * cr * cr;
    t[10] = cb * cg * cg;
    t[11] = cb * cr * cr;
    t[12] = cr * cg * cb;
    return t;
}

std::array<Vector3, most_map_terms> expand_slope(ColourModel model, const Vector3& q) {
    std::array<Vector3, most_map_terms> d{{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}};
    if (model == ColourModel::matrix) return d;
    const double floor = 1e-3 * std::max({q[0], q[1], q[2], 1e-6});
    const Vector3 v{std::max(q[0], floor), std::max(q[1], floor), std::max(q[2], floor)};
    const auto slope = [&](double er, double eg, double eb) {
        const double term = std::pow(v[0], er) * std::pow(v[1], eg) * std::pow(v[2], eb);
        return Vector3{er * term / v[0], eg * term / v[1], eb * term / v[2]};
    };
    d[3] = slope(0.5, 0.5, 0);
    d[4] = slope(0, 0.5, 0.5);
    d[5] = slope(0.5, 0, 0.5);
    if (model == ColourModel::root_polynomial) return d;
    constexpr double one = 1.0 / 3, two = 2.0 / 3;
    d[6] = slope(one, two, 0);
    d[7] = slope(0, one, two);
    d[8] = slope(one, 0, two);
    d[9] = slope(two, one, 0);
    d[10] = slope(0, two, one);
    d[11] = slope(two, 0, one);
    d[12] = slope(one, one, one);
    return d;
}

JointFit::JointFit(const JointData& data, const JointChoice& choice, const JointFit* start)
    : data_(&data), choice_(choice) {
    map_terms_ = static_cast<int>(map_terms(choice.model));
    flare_at_ = choice.linear ? 0 : 3 * tone_terms;
    field_at_ = flare_at_ + 3;
    map_at_ = field_at_ + 3 * choice.field_terms;
    filled_.resize(data.patches.size());
    set_priors();
    start_from(start);
    solve();
}

void JointFit::set_priors() {
    const int n = parameters();
    prior_mean_ = Eigen::VectorXd::Zero(n);
    prior_precision_ = Eigen::MatrixXd::Zero(n, n);
    // Three channels that share most of their deviation: covariance common^2 + apart^2 on the diagonal.
    const auto shared = [&](int first, int stride, double common, double apart) {
        Eigen::Matrix3d covariance = Eigen::Matrix3d::Constant(common * common);
        covariance.diagonal().array() += apart * apart;
        const Eigen::Matrix3d precision = covariance.inverse();
        for (int r = 0; r < 3; ++r)
            for (int c = 0; c < 3; ++c)
                prior_precision_(first + r * stride, first + c * stride) = precision(r, c);
    };
    if (!choice_.linear)
        for (int k = 0; k < tone_terms; ++k) {
            const double width = tone_common[at(k)];
            shared(tone_at_ + k, tone_terms, width, tone_apart * width);
        }
    shared(flare_at_, 1, flare_common, flare_apart);
    prior_mean_.segment(flare_at_, 3).setConstant(flare_mean);
    for (int k = 0; k < choice_.field_terms; ++k)
        shared(field_at_ + k, choice_.field_terms, k < 2 ? field_common : field_common_curved,
               k < 2 ? field_apart : field_apart_curved);
    for (int row = 0; row < 3; ++row)
        for (int k = 0; k < map_terms_; ++k) {
            const int p = map_at_ + row * map_terms_ + k;
            const double width = k >= 3 ? root_width : choice_.linear ? map_width_linear : map_width_encoded;
            prior_precision_(p, p) = 1 / (width * width);
            if (k < 3) prior_mean_(p) = srgb_to_d50()(at(row), at(k));
        }
}

void JointFit::start_from(const JointFit* start) {
    parameters_ = prior_mean_;
    weight_ = Eigen::VectorXd::Ones(static_cast<Eigen::Index>(data_->patches.size() + data_->traps.size()));
    if (!start) return;
    if (!choice_.linear)
        parameters_.segment(tone_at_, 3 * tone_terms) = start->parameters_.segment(0, 3 * tone_terms);
    parameters_.segment(flare_at_, 3) = start->parameters_.segment(start->flare_at_, 3);
    for (int c = 0; c < 3; ++c)
        for (int k = 0; k < std::min(choice_.field_terms, start->choice_.field_terms); ++k)
            parameters_(field_at_ + c * choice_.field_terms + k) =
                start->parameters_(start->field_at_ + c * start->choice_.field_terms + k);
    for (int row = 0; row < 3; ++row)
        for (int k = 0; k < std::min(map_terms_, start->map_terms_); ++k)
            parameters_(map_at_ + row * map_terms_ + k) =
                start->parameters_(start->map_at_ + row * start->map_terms_ + k);
    scale_ = start->scale_;
}

ToneCurve JointFit::tone_of(const Eigen::VectorXd& p) const {
    ToneCurve tone;
    if (choice_.linear) return tone;
    for (int c = 0; c < 3; ++c) {
        ToneFamily::Terms terms;
        for (int k = 0; k < tone_terms; ++k) terms[at(k)] = p(tone_at_ + c * tone_terms + k);
        tone.linear[at(c)] = ToneFamily::curve(terms).linear;
    }
    return tone;
}

Vector3 JointFit::light_at(const Eigen::VectorXd& p, const LightField::Terms& place) const {
    Vector3 light{1, 1, 1};
    for (int c = 0; c < 3; ++c) {
        for (int k = 0; k < choice_.field_terms; ++k)
            light[at(c)] += p(field_at_ + c * choice_.field_terms + k) * place[at(k)];
        light[at(c)] = std::max(light[at(c)], least_light);
    }
    return light;
}

Vector3 JointFit::response(const Eigen::VectorXd& p, const ToneCurve& tone, const Vector3& rgb,
                           const LightField::Terms& place) const {
    Vector3 out{};
    const Vector3 linear = tone.to_linear(rgb), light = light_at(p, place);
    for (int c = 0; c < 3; ++c)
        out[at(c)] = (data_->gain[at(c)] * linear[at(c)] - p(flare_at_ + c)) / light[at(c)];
    return out;
}

JointFit::Evaluated JointFit::colour_of(const Eigen::VectorXd& p, const Vector3& response) const {
    Evaluated out{response, expand(choice_.model, response), {}};
    Vector3 colour{};
    for (int row = 0; row < 3; ++row)
        for (int k = 0; k < map_terms_; ++k)
            colour[at(row)] += p(map_at_ + row * map_terms_ + k) * out.terms[at(k)];
    out.colour = XYZ<D50>::from(colour);
    return out;
}

JointFit::Evaluated JointFit::evaluate_filled(const Eigen::VectorXd& p, const ToneCurve& tone,
                                              std::size_t patch) const {
    const JointPatch& seen = data_->patches[patch];
    Vector3 value = response(p, tone, seen.rgb, seen.place);
    for (std::size_t c = 0; c < 3; ++c)
        if (filled_[patch].active[c]) value[c] = filled_[patch].response[c];
    return colour_of(p, value);
}

Matrix3 JointFit::colour_by_response(const Eigen::VectorXd& p, const Vector3& response) const {
    const auto slopes = expand_slope(choice_.model, response);
    Matrix3 out;
    for (int r = 0; r < 3; ++r)
        for (int k = 0; k < map_terms_; ++k)
            for (std::size_t c = 0; c < 3; ++c)
                out(at(r), c) += p(map_at_ + r * map_terms_ + k) * slopes[at(k)][c];
    return out;
}

// A clipped channel is an unknown of its own patch: the value beyond the clip that fits the reference best
// under the present parameters, with a weak prior near the clip. It is projected out of the patch's residual
// (variable projection), so that it costs the fit no parameters and a held-out error needs none.
void JointFit::fill_in() {
    const ToneCurve tone = tone_of(parameters_);
    for (std::size_t i = 0; i < data_->patches.size(); ++i) {
        const JointPatch& patch = data_->patches[i];
        if (!patch.censored()) continue;
        Filled& filled = filled_[i];
        const Vector3 clip = response(parameters_, tone, patch.rgb, patch.place),
                      reference = patch.reference.vector();
        Vector3 value = clip;
        for (std::size_t c = 0; c < 3; ++c)
            if (filled.active[c]) value[c] = filled.response[c];
        Eigen::Matrix3d by_value;
        for (int round = 0; round < 3; ++round) {
            const XYZ<D50> colour = colour_of(parameters_, value).colour;
            const Vector3 lab = to_lab(colour).vector();
            const Matrix3 slope =
                Matrix3::diagonal(lab_weight) * lab_jacobian(colour) * colour_by_response(parameters_, value);
            // Channels that are known do not move; the others are drawn to the clip.
            Eigen::Matrix3d normal = Eigen::Matrix3d::Identity();
            Eigen::Vector3d gradient = Eigen::Vector3d::Zero();
            by_value.setZero();
            for (std::size_t c = 0; c < 3; ++c) {
                if (patch.end[c] == End::none) continue;
                for (std::size_t k = 0; k < 3; ++k)
                    by_value(static_cast<int>(k), static_cast<int>(c)) = slope(k, c);
            }
            Eigen::Vector3d miss;
            for (std::size_t k = 0; k < 3; ++k)
                miss(static_cast<int>(k)) = lab_weight[k] * (reference[k] - lab[k]);
            const double precision = scale_ * scale_ / (beyond_clip * beyond_clip);
            normal = by_value.transpose() * by_value + precision * Eigen::Matrix3d::Identity();
            gradient = by_value.transpose() * miss;
            for (int c = 0; c < 3; ++c) gradient(c) += precision * (clip[at(c)] - value[at(c)]);
            const Eigen::Vector3d step = normal.ldlt().solve(gradient);
            for (int c = 0; c < 3; ++c) {
                if (patch.end[at(c)] == End::none || !std::isfinite(step(c))) continue;
                const double moved = value[at(c)] + std::clamp(step(c), -beyond_clip, beyond_clip);
                value[at(c)] = patch.end[at(c)] == End::low ? std::min(moved, clip[at(c)])
                                                            : std::max(moved, clip[at(c)]);
            }
        }
        Eigen::Matrix3d spread = Eigen::Matrix3d::Identity() * (scale_ * scale_);
        for (std::size_t c = 0; c < 3; ++c) {
            filled.active[c] = patch.end[c] != End::none && value[c] != clip[c];
            filled.response[c] = value[c];
            const int column = static_cast<int>(c);
            if (filled.active[c])
                spread += beyond_clip * beyond_clip * by_value.col(column) * by_value.col(column).transpose();
        }
        // Symmetric root of the inverse, in units of the scale.
        const Eigen::SelfAdjointEigenSolver<Eigen::Matrix3d> eigen(spread);
        filled.whiten = scale_ * eigen.operatorInverseSqrt();
        if (!filled.whiten.allFinite()) filled = {};
    }
}

// Fills the residuals (three a patch, then three a trap) and returns the cost under the present weights.
double JointFit::residuals(const Eigen::VectorXd& p, Eigen::VectorXd& out) const {
    const ToneCurve tone = tone_of(p);
    out.resize(3 * weight_.size());
    Eigen::Index row = 0;
    for (std::size_t i = 0; i < data_->patches.size(); ++i) {
        const JointPatch& patch = data_->patches[i];
        const Lab<D50> lab = to_lab(evaluate_filled(p, tone, i).colour);
        const Vector3 value = lab.vector(), reference = patch.reference.vector();
        for (std::size_t k = 0; k < 3; ++k) out(row++) = lab_weight[k] * (value[k] - reference[k]);
        if (patch.censored()) out.segment<3>(row - 3) = filled_[i].whiten * out.segment<3>(row - 3).eval();
    }
    for (const JointTrap& trap : data_->traps) {
        const Vector3 value = response(p, tone, trap.rgb, trap.place);
        for (std::size_t c = 0; c < 3; ++c) out(row++) = scale_ * (value[c] - trap.reflectance) / trap_width;
    }
    double cost = 0;
    for (Eigen::Index i = 0; i < weight_.size(); ++i)
        cost += weight_(i) * out.segment(3 * i, 3).squaredNorm() / (scale_ * scale_);
    const Eigen::VectorXd away = p - prior_mean_;
    return cost + away.dot(prior_precision_ * away);
}

void JointFit::linearise(const Eigen::VectorXd& p) {
    const int n = parameters();
    jacobian_ = Eigen::MatrixXd::Zero(3 * weight_.size(), n);
    std::array<ToneFamily::Curve, 3> curves{};
    ToneCurve tone;
    if (!choice_.linear)
        for (int c = 0; c < 3; ++c) {
            ToneFamily::Terms terms;
            for (int k = 0; k < tone_terms; ++k) terms[at(k)] = p(tone_at_ + c * tone_terms + k);
            curves[at(c)] = ToneFamily::curve(terms);
            tone.linear[at(c)] = curves[at(c)].linear;
        }
    constexpr double intervals = static_cast<double>(ToneCurve::knots - 1);

    // Chain rule from d residual / d response of one row block to tone, flare and field.
    const auto fill = [&](Eigen::Index row, const Eigen::Matrix3d& by_response, const Vector3& rgb,
                          const LightField::Terms& place, const Vector3& response,
                          const std::array<bool, 3>& filled) {
        const Vector3 light = light_at(p, place);
        for (int c = 0; c < 3; ++c) {
            if (filled[at(c)]) continue;  // its value is not the file's
            const Eigen::Vector3d column = by_response.col(c) / light[at(c)];
            jacobian_.block<3, 1>(row, flare_at_ + c) = -column;
            for (int k = 0; k < choice_.field_terms; ++k)
                jacobian_.block<3, 1>(row, field_at_ + c * choice_.field_terms + k) =
                    -column * response[at(c)] * place[at(k)];
            if (choice_.linear) continue;
            const double x = std::clamp(rgb[at(c)], 0.0, 1.0) * intervals;
            const auto i = std::min(static_cast<std::size_t>(x), ToneCurve::knots - 2);
            const double s = x - static_cast<double>(i);
            for (int k = 0; k < tone_terms; ++k) {
                const auto& knots = curves[at(c)].by_term[at(k)];
                jacobian_.block<3, 1>(row, tone_at_ + c * tone_terms + k) =
                    column * data_->gain[at(c)] * ((1 - s) * knots[i] + s * knots[i + 1]);
            }
        }
    };

    Eigen::Index row = 0;
    for (std::size_t i = 0; i < data_->patches.size(); ++i) {
        const JointPatch& patch = data_->patches[i];
        const Evaluated e = evaluate_filled(p, tone, i);
        const Matrix3 by_colour = Matrix3::diagonal(lab_weight) * lab_jacobian(e.colour);
        for (int r = 0; r < 3; ++r)
            for (int k = 0; k < map_terms_; ++k)
                for (int out = 0; out < 3; ++out)
                    jacobian_(row + out, map_at_ + r * map_terms_ + k) =
                        by_colour(at(out), at(r)) * e.terms[at(k)];
        const Matrix3 by_response = by_colour * colour_by_response(p, e.response);
        fill(row, Eigen::Map<const Eigen::Matrix<double, 3, 3, Eigen::RowMajor>>(by_response.m.data()),
             patch.rgb, patch.place, e.response, filled_[i].active);
        if (patch.censored())
            jacobian_.middleRows<3>(row) = filled_[i].whiten * jacobian_.middleRows<3>(row).eval();
        row += 3;
    }
    for (const JointTrap& trap : data_->traps) {
        const Evaluated e = evaluate(p, tone, trap.rgb, trap.place);
        fill(row, Eigen::Matrix3d::Identity() * (scale_ / trap_width), trap.rgb, trap.place, e.response, {});
        row += 3;
    }
}

void JointFit::form_normal() {
    Eigen::MatrixXd weighted = jacobian_;
    for (Eigen::Index i = 0; i < weight_.size(); ++i)
        weighted.middleRows(3 * i, 3) *= weight_(i) / (scale_ * scale_);
    normal_ = prior_precision_;
    normal_.noalias() += jacobian_.transpose() * weighted;
}

void JointFit::reweigh() {
    const auto patches = static_cast<Eigen::Index>(data_->patches.size());
    std::vector<double> lengths;
    for (Eigen::Index i = 0; i < patches; ++i)
        if (!data_->patches[static_cast<std::size_t>(i)].censored())
            lengths.push_back(residual_.segment(3 * i, 3).norm());
    // Residuals of a fit are smaller than its errors by the degrees of freedom that it spent.
    const double spent = std::min(0.6, static_cast<double>(parameters()) / static_cast<double>(3 * patches));
    const double before = scale_;
    scale_ = std::clamp((lengths.empty() ? 0.0 : median(std::move(lengths))) / median_length / std::sqrt(1 - spent), least_scale, most_scale);
    // A trap's rows are in units of the scale, so that their weight does not depend on it.
    jacobian_.bottomRows(3 * static_cast<Eigen::Index>(data_->traps.size())) *= scale_ / before;
    residual_.tail(3 * static_cast<Eigen::Index>(data_->traps.size())) *= scale_ / before;
    const ToneCurve tone = tone_of(parameters_);
    for (Eigen::Index i = 0; i < weight_.size(); ++i) {
        const double length = residual_.segment(3 * i, 3).norm() / scale_;
        weight_(i) = length > huber ? huber / length : 1.0;
        if (i >= patches) continue;
        // Noise of this patch's mean, and of its reference, beyond what all patches share.
        const JointPatch& patch = data_->patches[static_cast<std::size_t>(i)];
        const Vector3 slope = tone.slope(patch.rgb);
        double noise = patch.reference_noise;
        for (int c = 0; c < 3; ++c) {
            const double response_error = patch.standard_error[at(c)] * slope[at(c)] * data_->gain[at(c)];
            noise +=
                jacobian_.block<3, 1>(3 * i, flare_at_ + c).squaredNorm() * response_error * response_error;
        }
        weight_(i) /= 1 + noise / (3 * scale_ * scale_);
    }
}

void JointFit::solve() {
    constexpr int most_steps = 40, least_steps = 3;
    constexpr double settled = 1e-4;  // squared length of a step, in standard deviations of the answer
    double damping = 1e-4;
    residuals(parameters_, residual_);
    Eigen::VectorXd trial_residual;
    for (int iteration = 0; iteration < most_steps; ++iteration) {
        fill_in();
        linearise(parameters_);
        reweigh();
        form_normal();
        const double cost = residuals(parameters_, residual_);
        Eigen::VectorXd gradient = prior_precision_ * (parameters_ - prior_mean_);
        for (Eigen::Index i = 0; i < weight_.size(); ++i)
            gradient += jacobian_.middleRows(3 * i, 3).transpose() * residual_.segment(3 * i, 3) *
                        (weight_(i) / (scale_ * scale_));
        double length = 0;
        for (int attempt = 0; attempt < 10; ++attempt) {
            Eigen::MatrixXd damped = normal_;
            damped.diagonal() *= 1 + damping;
            const Eigen::VectorXd step = damped.ldlt().solve(-gradient);
            const Eigen::VectorXd trial = parameters_ + step;
            const double trial_cost = residuals(trial, trial_residual);
            if (std::isfinite(trial_cost) && trial_cost <= cost) {
                length = step.dot(normal_ * step);
                parameters_ = trial;
                residual_.swap(trial_residual);
                damping = std::max(damping * 0.1, 1e-10);
                break;
            }
            damping = std::min(damping * 10, 1e8);
        }
        if (length < settled && iteration >= least_steps) break;
    }
    fill_in();
    linearise(parameters_);
    residuals(parameters_, residual_);
    form_normal();
    sound_ = parameters_.allFinite() && residual_.allFinite() && normal_.allFinite();
}

std::vector<Lab<D50>> JointFit::fitted() const {
    std::vector<Lab<D50>> out;
    const ToneCurve tone = tone_of(parameters_);
    for (const JointPatch& patch : data_->patches)
        out.push_back(to_lab(evaluate(parameters_, tone, patch.rgb, patch.place).colour));
    return out;
}

// At the optimum the gradient is zero, so without some rows it is minus theirs: one Newton step on the
// normal equations without those rows leads to the fit without them, to first order in the curvature.
std::vector<Lab<D50>> JointFit::held_out() const {
    std::vector<Lab<D50>> out;
    for (const JointPatch& patch : data_->patches) {
        Eigen::MatrixXd normal = normal_;
        Eigen::VectorXd gradient = Eigen::VectorXd::Zero(parameters());
        for (const std::size_t twin : patch.twins) {
            const auto i = static_cast<Eigen::Index>(twin);
            const Eigen::MatrixXd rows =
                jacobian_.middleRows(3 * i, 3).transpose() * (weight_(i) / (scale_ * scale_));
            normal.noalias() -= rows * jacobian_.middleRows(3 * i, 3);
            gradient.noalias() += rows * residual_.segment(3 * i, 3);
        }
        const Eigen::VectorXd without = parameters_ + normal.ldlt().solve(gradient);
        out.push_back(to_lab(evaluate(without, tone_of(without), patch.rgb, patch.place).colour));
    }
    return out;
}

std::vector<bool> JointFit::doubtful_traps() const {
    std::vector<bool> out;
    for (std::size_t i = 0; i < data_->traps.size(); ++i) {
        const auto row = static_cast<Eigen::Index>(data_->patches.size() + i);
        out.push_back(residual_.segment(3 * row, 3).norm() / scale_ > 3 * huber);
    }
    return out;
}

void JointFit::export_to(CameraFit& fit, const LightField& frame) const {
    fit.model = choice_.model;
    fit.tone = tone_of(parameters_);
    fit.field = frame;
    fit.field.terms = {};
    Vector3 gain = data_->gain;
    for (int c = 0; c < 3; ++c) {
        if (!choice_.linear) {
            // The curve ends at 1; what it lost goes to the map.
            const double top = fit.tone.linear[at(c)].back();
            for (double& v : fit.tone.linear[at(c)]) v /= top;
            gain[at(c)] *= top;
        }
        fit.flare[at(c)] = parameters_(flare_at_ + c) / gain[at(c)];
        for (int k = 0; k < choice_.field_terms; ++k)
            fit.field.terms[at(c)][at(k)] = parameters_(field_at_ + c * choice_.field_terms + k);
    }
    for (std::size_t c = 0; c < 3; ++c) {
        // Start from two percent, for a card that has no such patch.
        constexpr double usual = 0.02;
        double squares = usual * usual, count = 1;
        const ToneCurve tone = tone_of(parameters_);
        for (std::size_t i = 0; i < filled_.size(); ++i) {
            if (!filled_[i].active[c]) continue;
            const JointPatch& patch = data_->patches[i];
            squares +=
                std::pow(filled_[i].response[c] - response(parameters_, tone, patch.rgb, patch.place)[c], 2);
            count += 1;
        }
        // Inks at the edge of what prints lie further out than most threads.
        fit.beyond[c] = 0.7 * std::sqrt(squares / count) / gain[c];
    }
    const MapTerms unit = expand(choice_.model, gain);
    for (int row = 0; row < 3; ++row) {
        fit.map[at(row)] = {};
        for (int k = 0; k < map_terms_; ++k)
            fit.map[at(row)][at(k)] = parameters_(map_at_ + row * map_terms_ + k) * unit[at(k)];
    }
}

}  // namespace bindhue::detail

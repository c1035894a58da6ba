#include "colour/amber.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "colour/layer.hpp"

namespace bindhue {
namespace {

constexpr double deepest = 3;
constexpr double finish_index = 1.53;  // as colour/coating.cpp has it
constexpr double contact_logit_sd = 1.4;  // of usual_finish_contact: a guess that takes both ends in
// What the model leaves out: a floor, and a share of how far the amber moved the colour, which grows with that distance: pale violet under strong amber
// looks yellow, and what blue it had is a guess (by tests/accuracy/amber_accuracy.cpp, `render ambers` of seeds 1, 2, 520 and 521; amber that soaked in between
// the fibres was tried instead and changed no error).
constexpr double residual_floor = 0.3, residual_share = 0.12, residual_growth = 0.002;

Eigen::Vector3d vector_of(const Lab<D50>& lab) { return {lab.L, lab.a, lab.b}; }
Eigen::Matrix3d matrix_of(const Matrix3& m) { return Eigen::Map<const Eigen::Matrix<double, 3, 3, Eigen::RowMajor>>(m.m.data()); }

Surface surface_of(const Eigen::Vector3d& lab) { return Surface::nearest({{lab(0), lab(1), lab(2)}, {}, {}}); }

// The finish, clear and amber, over what it touches and over air.
class AgedFinish {
  public:
    AgedFinish(double depth_440, double tail_nm, double contact) : contact_(contact), clear_(finish_index), skin_(skin(0)) {
        static const TintedFilm film(finish_index);
        for (std::size_t i = 0; i < spectrum_size; ++i) {
            const double depth = depth_440 * std::exp((440 - Spectrum::wavelength_nm(i)) / tail_nm);
            touching_[i] = film.at(depth);
            apart_[i] = skin(depth);
        }
    }

    Lab<D50> look(const Surface& as_new) const {
        Spectrum seen;
        for (std::size_t i = 0; i < spectrum_size; ++i) {
            const double r = as_new.reflectance()[i];
            seen[i] = contact_ * touching_[i].outside(clear_.inside(r)) + (1 - contact_) * apart_[i].outside(skin_.inside(r));
        }
        Lab<D50> out = to_lab(reflectance_to_xyz_d50(seen));
        const Vector3 misfit = as_new.misfit();
        return {out.L + misfit[0], out.a + misfit[1], out.b + misfit[2]};
    }

  private:
    // Over air a slab: both its faces mirror, and what absorbs is crossed at the refracted angle.
    static Film skin(double depth) {
        const auto slab = [&](double face, double crossings) {
            const double t = std::exp(-depth * crossings);
            struct {
                double through, back;
            } out{(1 - face) * (1 - face) * t / (1 - face * face * t * t), face + (1 - face) * (1 - face) * face * t * t / (1 - face * face * t * t)};
            return out;
        };
        constexpr double diffuse_crossings = 1.15;  // 1 / cos of the refracted angle, mean over Lambertian light
        Film out;
        out.gain = slab(fresnel_reflectance(finish_index, std::numbers::pi / 4), 1 / std::sqrt(1 - 0.5 / (finish_index * finish_index))).through *
                   slab(fresnel_reflectance(finish_index, 0), 1).through;
        out.returned = slab(fresnel_diffuse_external(finish_index), diffuse_crossings).back;
        return out;
    }

    double contact_;
    Film clear_, skin_;
    std::array<Film, spectrum_size> touching_, apart_;
};

struct Found {
    Eigen::Vector3d lab;    // as new
    Eigen::Matrix3d slope;  // d aged / d as new
    double off = 0;         // Lab distance of its aged look from what was read
};

// Damped Newton from `start`.
Found undo(const AgedFinish& finish, const Eigen::Vector3d& aged, Eigen::Vector3d start) {
    const auto look = [&](const Eigen::Vector3d& lab) { return vector_of(finish.look(surface_of(lab))); };
    Found out{start, Eigen::Matrix3d::Identity(), 0};
    Eigen::Vector3d off = aged - look(start);
    for (int round = 0; round < 12; ++round) {
        for (int axis = 0; axis < 3; ++axis) {
            Eigen::Vector3d moved = out.lab;
            moved(axis) += 0.25;
            out.slope.col(axis) = (aged - off - look(moved)) / -0.25;
        }
        if (off.norm() < 1e-3 || std::abs(out.slope.determinant()) < 1e-6) break;
        Eigen::Vector3d step = out.slope.inverse() * off;
        step *= std::min(1.0, 15 / step.norm());
        bool nearer = false;
        for (int halving = 0; halving < 5 && !nearer; ++halving, step *= 0.5) {
            const Eigen::Vector3d next = out.lab + step, then = aged - look(next);
            if (then.norm() < off.norm()) out.lab = next, off = then, nearer = true;
        }
        if (!nearer) break;
    }
    out.off = off.norm();
    return out;
}

}  // namespace

double Amber::transmittance() const { return std::exp(-depth_440); }
double Amber::transmittance_sd() const { return depth_sd * transmittance(); }

Result<Amber> amber_of(double transmittance_440, double sd) {
    if (!(transmittance_440 >= std::exp(-deepest) && transmittance_440 <= 1))
        return Error{Reason::bad_value, "The transmittance of the old finish at 440 nm is outside 0.05..1.", "amber",
                     "Give the share of blue light that the finish lets through, for instance 0.7; 1 is clear."};
    if (!(sd >= 0 && sd <= 0.5))
        return Error{Reason::bad_value, "The standard deviation of the transmittance is outside 0..0.5.", "amber", "Give for instance 0.05."};
    Amber out;
    out.depth_440 = -std::log(transmittance_440);
    out.depth_sd = sd / transmittance_440;
    return out;
}

Result<Amber> amber_over(const Reading& bare, const Reading& finished) {
    const Result<Surface> surface = Surface::from(bare);
    if (!surface) return Error{surface.error().reason, surface.error().what, "the bare place", surface.error().mend};
    if (const Status status = validate(finished); !status)
        return Error{status.error().reason, status.error().what, "the place under the finish", status.error().mend};

    // Unknowns: depth, how many deviations the logarithm of the tail is off, and of how matte the bare place is. Most probable values, Gauss-Newton.
    const Amber before;
    constexpr double usual_depth = 0.5, depth_width = 1.0, matte_width = 0.35;
    const auto look = [&](const Eigen::Vector3d& at, const Surface& place) {
        const AgedFinish finish(std::clamp(at(0), 0.0, 2 * deepest), before.tail_nm * std::exp(before.tail_log_sd * at(1)), 1);
        return vector_of(finish.look(Surface::nearest({coated_ground_look(place, std::clamp(0.5 + matte_width * at(2), 0.0, 1.0)), {}, {}})));
    };
    const Eigen::Vector3d seen = vector_of(finished.lab), middle{usual_depth, 0, 0},
                          precision{1 / (depth_width * depth_width), 1, 1};
    Eigen::Vector3d at = middle;
    Eigen::Matrix3d noise = Eigen::Matrix3d::Zero(), curvature = Eigen::Matrix3d::Zero();
    Eigen::Vector3d off = Eigen::Vector3d::Zero();
    for (int round = 0; round < 15; ++round) {
        const Eigen::Vector3d now = look(at, *surface);
        Eigen::Matrix3d slope, by_bare;
        for (int k = 0; k < 3; ++k) {
            constexpr double step = 0.02, unit = 0.25;
            Eigen::Vector3d moved = at;
            moved(k) += moved(k) > 0 ? -step : step;
            slope.col(k) = (look(moved, *surface) - now) / (moved(k) - at(k));
            Eigen::Vector3d lab = vector_of(bare.lab);
            lab(k) += lab(k) > 0 ? -unit : unit;
            by_bare.col(k) = (look(at, surface_of(lab)) - now) / (lab(k) - vector_of(bare.lab)(k));
        }
        noise = matrix_of(finished.covariance) + by_bare * matrix_of(bare.covariance) * by_bare.transpose();
        noise += (residual_floor * residual_floor + std::pow(residual_share * (now - vector_of(coated_ground_look(*surface, 0.5))).norm(), 2)) *
                 Eigen::Matrix3d::Identity();
        const Eigen::Matrix3d precise = noise.inverse();
        curvature = slope.transpose() * precise * slope;
        curvature.diagonal() += precision;
        off = seen - now;
        Eigen::Vector3d step = curvature.ldlt().solve(slope.transpose() * (precise * off) - precision.cwiseProduct(at - middle));
        step *= std::min(1.0, 1 / std::max(step.cwiseAbs().maxCoeff(), 1e-9));
        Eigen::Vector3d next = at + step;
        next(0) = std::clamp(next(0), 0.0, 2 * deepest);
        next(1) = std::clamp(next(1), -3.0, 3.0);
        next(2) = std::clamp(next(2), -0.5 / matte_width, 0.5 / matte_width);
        const double moved = (next - at).cwiseAbs().maxCoeff();
        at = next;
        if (moved < 1e-3) break;
    }
    off = seen - look(at, *surface);
    if (off.dot(noise.inverse() * off) > 16.27 || at(0) > deepest)  // chi squared, 0.1 %
        return Error{Reason::cannot_measure, "The two colours of the place differ as no amber finish makes them.", "amber",
                     "Choose a clean place that is the same with and without finish, read both in one photo, or give --amber."};
    const Eigen::Matrix3d covariance = curvature.inverse();
    Amber out;
    out.depth_440 = at(0);
    out.tail_nm = before.tail_nm * std::exp(before.tail_log_sd * at(1));
    out.depth_sd = std::sqrt(covariance(0, 0));
    out.tail_log_sd = before.tail_log_sd * std::sqrt(covariance(1, 1));
    out.correlation = covariance(0, 1) / std::sqrt(covariance(0, 0) * covariance(1, 1));
    if (out.depth_sd > 0.25)
        return Error{Reason::cannot_measure, "The place is too dark or too yellow itself to tell how amber the finish is.", "amber",
                     "Choose a white mark or a pale place, or give --amber."};
    return out;
}

Lab<D50> ambered_look(const Surface& as_new, const Amber& amber, double contact) {
    return AgedFinish(amber.depth_440, amber.tail_nm, contact).look(as_new);
}

Result<Reading> as_new(const Reading& aged, const Amber& amber) {
    if (const Result<Surface> sound = Surface::from(aged); !sound) return sound.error();
    const Eigen::Vector3d read = vector_of(aged.lab);
    // Moved by standard deviations: of the depth, of the tail beyond what goes with the depth, of the logit of the contact.
    const auto found = [&](double depth, double tail, double contact, const Eigen::Vector3d& start) {
        const double logit = std::log(usual_finish_contact / (1 - usual_finish_contact)) + contact_logit_sd * contact;
        const double tail_moved = amber.correlation * depth + std::sqrt(std::max(0.0, 1 - amber.correlation * amber.correlation)) * tail;
        return undo(AgedFinish(std::max(0.0, amber.depth_440 + amber.depth_sd * depth), amber.tail_nm * std::exp(amber.tail_log_sd * tail_moved),
                               1 / (1 + std::exp(-logit))),
                    read, start);
    };
    const Found base = found(0, 0, 0, read);
    const double spread = std::sqrt(aged.covariance(0, 0) + aged.covariance(1, 1) + aged.covariance(2, 2));
    if (base.off > std::max(2.0, 2 * spread) || base.lab(0) > 110)
        return Error{Reason::cannot_measure, "No plain surface looks so under amber of this strength.", "amber",
                     "Give a weaker amber (a transmittance nearer 1), or read the place and the band again."};
    const Eigen::Matrix3d back = base.slope.inverse();
    Eigen::Matrix3d covariance = back * matrix_of(aged.covariance) * back.transpose();
    for (int k = 0; k < 3; ++k) {
        const auto moved = [&](double by) { return Eigen::Vector3d(found(k == 0 ? by : 0, k == 1 ? by : 0, k == 2 ? by : 0, base.lab).lab - base.lab); };
        const Eigen::Vector3d up = moved(1), down = moved(-1), slope = (up - down) / 2, bend = (up + down) / 2;
        covariance += slope * slope.transpose() + 3 * bend * bend.transpose();  // as colour/coating.cpp has it
    }
    const double moved_by = (base.lab - read).norm(), residual = residual_floor + (residual_share + residual_growth * moved_by) * moved_by;
    covariance.diagonal().array() += residual * residual + base.off * base.off;
    Reading out{{base.lab(0), base.lab(1), base.lab(2)}, {}, aged.context};
    for (std::size_t r = 0; r < 3; ++r)
        for (std::size_t c = 0; c < 3; ++c) {
            const auto i = static_cast<int>(r), j = static_cast<int>(c);
            out.covariance(r, c) = 0.5 * (covariance(i, j) + covariance(j, i));
        }
    return out;
}

}  // namespace bindhue

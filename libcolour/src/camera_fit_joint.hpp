// The joint robust fit behind fit_camera: tone curve, flare, light field and colour map in one problem.
//
// Private to libcolour. One vector of parameters, one table of residuals in Lab, of about the size of
// CIEDE2000, Gaussian priors, Huber weights, Levenberg-Marquardt. Because everything is one linearised
// problem, leaving patches out is a small downdate of the normal equations instead of a new fit.
#pragma once

#include <Eigen/Dense>
#include <optional>
#include <vector>

#include "colour/camera_fit.hpp"

namespace bindhue::detail {

// Lab errors weigh nearly alike for vivid and for dull patches: divided by CIEDE2000's own weighting
// functions the vivid ones count for little and the light field goes astray (fit_accuracy: 1.36
// against 1.31).
inline constexpr Vector3 lab_weight{0.7, 0.4, 0.4};

inline constexpr int tone_terms = 5;

// The encoded-to-linear curve of one channel: sRGB's slope times exp(sum of the terms), hence rising
// everywhere.
struct ToneFamily {
    using Terms = std::array<double, tone_terms>;
    using Knots = std::array<double, ToneCurve::knots>;

    struct Curve {
        Knots linear;
        std::array<Knots, tone_terms> by_term;  // d linear / d term at the knots
    };

    static Curve curve(const Terms& terms);
};

struct JointChoice {
    ColourModel model = ColourModel::matrix;
    int field_terms = 0;  // 0, 2 or 5 for each channel
    bool linear = false;
};

enum class End { none, low, high };

struct JointPatch {
    std::size_t source = 0;  // index into the caller's table
    Vector3 rgb{}, standard_error{};
    Lab<D50> reference;
    LightField::Terms place{};       // basis at its place; zero without one
    std::array<End, 3> end{};        // channels of which the file says only "this or beyond"
    std::vector<std::size_t> twins;  // patches of the same ink, itself included: they are left out together
    double reference_noise = 0;      // variance of the reference in weighted Lab, summed over its axes

    bool censored() const { return end != std::array<End, 3>{}; }
};

struct JointTrap {
    std::size_t source = 0;
    Vector3 rgb{};
    double reflectance = 0;
    LightField::Terms place{};
};

struct JointData {
    std::vector<JointPatch> patches;
    std::vector<JointTrap> traps;
    Vector3 gain{1, 1,
                 1};  // brings linear light near reflectance, so that priors mean the same for each camera
};

class JointFit {
  public:
    JointFit(const JointData& data, const JointChoice& choice, const JointFit* start = nullptr);

    // Lab of each patch by the fit of all patches, and by a fit without it and its twins; a clipped channel
    // is taken as the file has it.
    std::vector<Lab<D50>> fitted() const;
    std::vector<Lab<D50>> held_out() const;

    // Which traps disagree with the rest of the card (they reflect light, or are lit by glare).
    std::vector<bool> doubtful_traps() const;

    bool sound() const { return sound_; }  // false if the numbers broke down
    const JointChoice& choice() const { return choice_; }

    // The fit in the units of the photo.
    void export_to(CameraFit& fit, const LightField& frame) const;

  private:
    struct Evaluated {
        Vector3 response;  // after tone, flare and field, near reflectance
        std::array<double, most_map_terms> terms;
        XYZ<D50> colour;
    };

    // What a clipped channel would have read, from the reference and the other channels: present estimate,
    // and the whitening of the patch's residual that allows for what is not known of it (censored
    // regression).
    struct Filled {
        std::array<bool, 3> active{};  // the estimate lies beyond the clip; else the file's value stands
        Vector3 response{};
        Eigen::Matrix3d whiten = Eigen::Matrix3d::Identity();
    };

    int parameters() const { return map_at_ + 3 * map_terms_; }
    Vector3 response(const Eigen::VectorXd& at, const ToneCurve& tone, const Vector3& rgb,
                     const LightField::Terms& place) const;
    Evaluated colour_of(const Eigen::VectorXd& at, const Vector3& response) const;
    Evaluated evaluate(const Eigen::VectorXd& at, const ToneCurve& tone, const Vector3& rgb,
                       const LightField::Terms& place) const {
        return colour_of(at, response(at, tone, rgb, place));
    }
    Evaluated evaluate_filled(const Eigen::VectorXd& at, const ToneCurve& tone, std::size_t patch) const;
    Matrix3 colour_by_response(const Eigen::VectorXd& at, const Vector3& response) const;
    void fill_in();
    ToneCurve tone_of(const Eigen::VectorXd& at) const;
    Vector3 light_at(const Eigen::VectorXd& at, const LightField::Terms& place) const;
    double residuals(const Eigen::VectorXd& at, Eigen::VectorXd& out) const;
    void linearise(const Eigen::VectorXd& at);
    void form_normal();
    void set_priors();
    void start_from(const JointFit* start);
    void solve();
    void reweigh();

    const JointData* data_;
    JointChoice choice_;
    int tone_at_ = 0, flare_at_ = 0, field_at_ = 0, map_at_ = 0, map_terms_ = 3;
    Eigen::VectorXd parameters_, prior_mean_;
    Eigen::MatrixXd prior_precision_, jacobian_, normal_;
    Eigen::VectorXd residual_, weight_;
    std::vector<Filled> filled_;  // one a patch
    double scale_ = 1;            // of the residuals, robust
    bool sound_ = true;
};

using MapTerms = std::array<double, most_map_terms>;

// How many terms a model has, and their values in the order that ColourModel states; the rest are zero.
std::size_t map_terms(ColourModel model);
MapTerms expand(ColourModel model, const Vector3& response);
// d terms / d response; slopes of the roots are bounded near zero light.
std::array<Vector3, most_map_terms> expand_slope(ColourModel model, const Vector3& response);

}  // namespace bindhue::detail

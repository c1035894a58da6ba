// The spectral way from camera to colour: what camera and light may be, given a card of known spectra, and how such cameras see
// threads.
//
// Private to libcolour. The curves sensitivity x light have a Gaussian prior for each light of a library (colour/camera_light.hpp);
// the patches' responses condition it by one linear solve a light, with a constant glare and a low field left over as further
// unknowns; lights weigh by their evidence. The channels of an encoded photo are mixtures of the camera's, by a matrix of its maker's
// that nobody tells: under each light the mixture that fits the patches best is taken, what it is off by joins the unknowns, and so does
// what the ordinary fit left of the tone curve. Cameras drawn from that posterior look at virtual threads
// (colour/virtual_threads.hpp); what they see gives the map to XYZ, and its error.
#pragma once

#include <Eigen/Dense>
#include <vector>

#include "colour/camera_fit.hpp"
#include "colour/camera_light.hpp"

namespace bindhue::detail {

enum class Channels {
    of_the_camera,  // a linear file
    mixed,          // an encoded photo
};

// What the ordinary fit left of a tone curve: bells over the encoded scale, each a share of the linear value.
using ToneBells = std::array<double, 8>;
ToneBells tone_bells(double encoded);  // their squares sum to one
double of_bells(const ToneBells& amounts, const ToneBells& bells);

struct SpectralPatch {
    Spectrum reflectance;
    Vector3 response{};  // flare and field undone, brought near reflectance by the gain
    Vector3 light{1, 1, 1};
    Vector3 standard_error{};  // of the response; zero if not known
    std::array<ToneBells, 3> tone{};  // what each bell adds to the response; only looked at in mixed channels
    std::array<bool, 3> known{true, true, true};
    std::optional<LightField::Terms> place;
    XYZ<D50> colour;                 // the reference
    std::vector<std::size_t> twins;  // patches of the same ink, itself included
};

// Rows of responses: one camera drawn from the posterior.
struct DrawnCamera {
    Eigen::Matrix<double, 3, Eigen::Dynamic> curves;  // 3 x 81: response = curves * reflectance
    Eigen::Vector3d glare;                            // beyond the mean glare
    std::array<ToneBells, 3> tone{};                  // beyond the mean tone
};

struct LightShare {
    std::size_t light = 0;
    double share = 0;  // of the evidence
};

class CameraEstimate {
  public:
    // `gain`: what brought the file's linear responses near reflectance.
    CameraEstimate(const std::vector<SpectralPatch>& patches, const Vector3& gain, const CameraLightPrior& prior, Channels channels);

    Channels channels() const { return channels_; }
    bool sound() const { return sound_; }
    const std::vector<LightShare>& lights() const { return shares_; }  // greatest first, at most three
    double noise() const { return scale_; }  // of the responses, in units of what a good photo has
    const std::vector<DrawnCamera>& drawn() const { return drawn_; }
    Vector3 glare() const { return glare_; }
    const std::array<LightField::Terms, 3>& field() const { return field_; }
    const std::array<ToneBells, 3>& tone() const { return tone_; }

    // Response of each patch, forecast from the patches without it and its twins; in the units of SpectralPatch::response.
    const std::vector<Vector3>& held_out() const { return held_out_; }

  private:
    Channels channels_;
    bool sound_ = false;
    double scale_ = 1;
    std::vector<LightShare> shares_;
    std::vector<DrawnCamera> drawn_;
    Vector3 glare_{};
    std::array<LightField::Terms, 3> field_{};
    std::array<ToneBells, 3> tone_{};
    std::vector<Vector3> held_out_;
};

// The map from response to XYZ that reads virtual threads best, seen by the drawn cameras; the card's patches join.
class ThreadMap {
  public:
    // `tone`, `gain`: from the file's numbers to the estimate's responses.
    ThreadMap(const CameraEstimate& camera, const std::vector<SpectralPatch>& card, const ToneCurve& tone, const Vector3& gain,
              ColourModel model);

    const std::array<std::array<double, most_map_terms>, 3>& map() const { return map_; }
    // Each patch of the card by the map without it and its twins; the camera was estimated with them.
    const std::vector<Lab<D50>>& held_out() const { return held_out_; }
    double forecast_median() const { return forecast_median_; }  // CIEDE2000 over the virtual threads
    double forecast_p95() const { return forecast_p95_; }

    // What threads send into a channel that a file ends at black, if they look like this in the others and end there too: mean and standard deviation. Nothing where
    // no thread is like it. `ended`: the channels that do; `ends`: where.
    struct Hidden {
        double response = 0, deviation = 0;
    };
    std::optional<Hidden> hidden(const Vector3& response, const std::array<bool, 3>& ended, const Vector3& ends, std::size_t channel) const;

    // Second moment of the Lab error over the 40 virtual threads nearest to a colour, over the drawn cameras.
    Matrix3 moment(const Lab<D50>& near) const;

  private:
    struct Seen {
        Lab<D50> lab;
        Matrix3 moment;
    };
    ColourModel model_;
    std::array<std::array<double, most_map_terms>, 3> map_{};
    std::vector<Seen> threads_;
    std::vector<Vector3> responses_;  // of all threads, by all drawn cameras
    std::vector<Lab<D50>> held_out_;
    double forecast_median_ = 0, forecast_p95_ = 0;
};

struct SpectralFit {
    Vector3 gain{1, 1, 1};  // from the fit's undone response to the estimate's units
    CameraEstimate camera;
    ThreadMap threads;
};

}  // namespace bindhue::detail

#include "spectral_fit.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <span>

#include "camera_fit_joint.hpp"
#include "colour/difference.hpp"
#include "colour/virtual_threads.hpp"

namespace bindhue::detail {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

constexpr int bands = static_cast<int>(spectrum_size);

// Widths of what the prior of cameras does not say; guesses, but for the glare, whose width is that of common veils.
constexpr double gain_width = 0.2;                        // scale of a channel, beyond what the greys gave
constexpr double light_width = 0.12, light_reach = 45.0;  // of a light from the library's, relative; nm
constexpr double glare_width = 0.012;                     // of the light from white
constexpr double field_width = 0.03, field_width_curved = 0.015;
constexpr double mixture_width = 0.3;  // of a share of the camera's channels in the file's, about the best
// Of the bells that all channels have in common, and that one has for itself. Chosen on ten measured cameras and invented ones
// (tests/accuracy/fit_accuracy.cpp): between 0.03 and 0.06 little changes.
constexpr double tone_width = 0.04, tone_width_apart = 0.003;
// Noise of a patch's mean on a good photo; the fit scales both together.
constexpr double noise_share = 0.004, noise_floor = 0.0006;
constexpr double noise_mixed_in = 0.5;  // of the strongest channel's noise: what a matrix brings into the others
constexpr double least_scale = 0.5, most_scale = 20;
constexpr std::size_t looked_at = 6, most_lights = 3, draws = 12;
constexpr double least_share = 0.02;
constexpr double ridge = 1e-4;          // of the roots, against the mean weight of a thread
constexpr double card_weight = 1;       // of a patch, in threads
constexpr std::size_t neighbours = 40;
// How unlike threads may be in the channels that a file shows, to tell one that it does not: in the share of one of two, and in the logarithm of their sum. And how
// many of them, each seen by one of the drawn cameras, must be like; else they may be less so. Of 0.03 to 0.1, 0.25 to 1 and 6 to 48 none read 42 bands of phone
// photos better by more than 0.1 in the mean.
constexpr double hidden_hue = 0.05, hidden_size = 0.5, least_alike = 12;

std::size_t at(Index i) { return static_cast<std::size_t>(i); }

// Overlapping bells, one at each whole number from 0, as they stand at `place`; their squares sum to one.
void bells_at(double place, std::span<double> out) {
    double squares = 0;
    for (std::size_t k = 0; k < out.size(); ++k) {
        const double x = (place - static_cast<double>(k)) / 0.85;
        out[k] = std::exp(-0.5 * x * x);
        squares += out[k] * out[k];
    }
    for (double& v : out) v /= std::sqrt(squares);
}

// The same along the wavelength, a row for each: a smooth random curve of unit variance.
MatrixXd bells(double spacing_nm) {
    std::vector<double> row(static_cast<std::size_t>(std::ceil(400 / spacing_nm)) + 1);
    MatrixXd out(bands, static_cast<Index>(row.size()));
    for (int i = 0; i < bands; ++i) {
        bells_at(5.0 * i / spacing_nm, row);
        out.row(i) = Eigen::Map<const Eigen::RowVectorXd>(row.data(), out.cols());
    }
    return out;
}

// Mean curves and loadings under one light, each channel scaled to answer a perfect white with 1.
struct Curves {
    std::array<VectorXd, 3> mean;
    std::array<MatrixXd, 3> loading;
};

Curves curves_under(const LibraryLight& light, const CameraLightPrior& prior, const MatrixXd& fine, const MatrixXd& coarse) {
    const auto count = static_cast<Index>(prior.components.size());
    const Index columns = count + 3 + coarse.cols() + 3 * fine.cols();
    Curves out;
    for (Index c = 0; c < 3; ++c) {
        VectorXd mean(bands), spread(bands);
        MatrixXd loading = MatrixXd::Zero(bands, columns);
        for (Index i = 0; i < bands; ++i) {
            mean(i) = prior.mean[at(c)][at(i)] * light.power[at(i)];
            spread(i) = prior.spread[at(c)][at(i)] * light.power[at(i)];
            for (Index k = 0; k < count; ++k)
                loading(i, k) = prior.components[at(k)][at(c)][at(i)] * light.power[at(i)];
        }
        const double white = mean.sum();
        loading.col(count + c) = gain_width * mean;
        loading.middleCols(count + 3, coarse.cols()) = light_width * (mean.asDiagonal() * coarse);
        loading.middleCols(count + 3 + coarse.cols() + c * fine.cols(), fine.cols()) = spread.asDiagonal() * fine;
        out.mean[at(c)] = mean / white;
        out.loading[at(c)] = loading / white;
    }
    return out;
}

// The mixture of mean curves that answers the patches best; a row for each channel of the file.
Eigen::Matrix3d best_mixture(const std::array<VectorXd, 3>& mean, const MatrixXd& reflectances, const VectorXd& response,
                             const VectorXd& precision) {
    const Index n = reflectances.rows();
    MatrixXd seen(n, 3);
    for (Index k = 0; k < 3; ++k) seen.col(k) = reflectances * mean[at(k)];
    Eigen::Matrix3d out;
    for (Index c = 0; c < 3; ++c) {
        const auto weight = precision.segment(c * n, n).asDiagonal();
        const MatrixXd weighed = weight * seen;
        out.row(c) = (weighed.transpose() * weighed).ldlt().solve(weighed.transpose() * (weight * response.segment(c * n, n))).transpose();
    }
    return out;
}

// The curves of mixed channels. Every loading is of all three channels then; the gains give way to what the mixture may be off by.
Curves mixed_curves(const Curves& own, const Eigen::Matrix3d& mixture, Index components) {
    const Index others = own.loading[0].cols() - components - 3;
    Curves out;
    for (Index c = 0; c < 3; ++c) {
        out.mean[at(c)] = VectorXd::Zero(bands);
        MatrixXd& loading = out.loading[at(c)];
        loading = MatrixXd::Zero(bands, components + 9 + others);
        for (Index k = 0; k < 3; ++k) {
            out.mean[at(c)] += mixture(c, k) * own.mean[at(k)];
            loading.leftCols(components) += mixture(c, k) * own.loading[at(k)].leftCols(components);
            loading.col(components + 3 * c + k) = mixture_width * own.mean[at(k)];
            loading.rightCols(others) += mixture(c, k) * own.loading[at(k)].rightCols(others);
        }
    }
    return out;
}

// The standard distributions differ between libraries; the fit must not.
class Normal {
  public:
    double operator()() {
        const double radius = std::sqrt(-2 * std::log(uniform() + 1e-18));
        return radius * std::cos(6.283185307179586 * uniform());
    }

  private:
    double uniform() {
        state_ += 0x9e3779b97f4a7c15U;  // SplitMix64
        std::uint64_t z = state_;
        z = (z ^ (z >> 30U)) * 0xbf58476d1ce4e5b9U;
        z = (z ^ (z >> 27U)) * 0x94d049bb133111ebU;
        z ^= z >> 31U;
        return static_cast<double>(z >> 11U) * 0x1.0p-53;
    }
    std::uint64_t state_ = 7;
};

// One light's linear problem, whitened by the noise of a good photo.
struct Problem {
    std::size_t light = 0;
    Curves curves;
    MatrixXd design, normal;
    VectorXd miss, product;
    double square = 0;

    double log_evidence(double scale, Index rows) const {
        const Eigen::LLT<MatrixXd> factor(posterior(scale));
        const double bent = product.dot(factor.solve(product)) / std::pow(scale, 4);
        const double determinant = 2 * MatrixXd(factor.matrixL()).diagonal().array().log().sum();
        return -0.5 * (square / (scale * scale) - bent + determinant) - static_cast<double>(rows) * std::log(scale);
    }
    MatrixXd posterior(double scale) const {
        return MatrixXd::Identity(normal.rows(), normal.cols()) + normal / (scale * scale);
    }
};

}  // namespace

double of_bells(const ToneBells& amounts, const ToneBells& bells) {
    double sum = 0;
    for (std::size_t k = 0; k < bells.size(); ++k) sum += amounts[k] * bells[k];
    return sum;
}

ToneBells tone_bells(double encoded) {
    ToneBells out{};
    bells_at(encoded * static_cast<double>(out.size() - 1), out);
    return out;
}

CameraEstimate::CameraEstimate(const std::vector<SpectralPatch>& patches, const Vector3& gain, const CameraLightPrior& prior,
                               Channels channels)
    : channels_(channels) {
    const bool mixed = channels == Channels::mixed;
    // The darkest that a file tells is alike in all channels, before the weak ones are brought up.
    const double least_gain = std::min({gain[0], gain[1], gain[2]});
    const Vector3 weakness{gain[0] / least_gain, gain[1] / least_gain, gain[2] / least_gain};
    const auto n = static_cast<Index>(patches.size());
    const MatrixXd fine = bells(prior.reach_nm), coarse = bells(light_reach);
    MatrixXd reflectances(n, bands);
    VectorXd precision = VectorXd::Zero(3 * n), response(3 * n);
    Index known = 0;
    bool placed = true;
    for (Index i = 0; i < n; ++i) {
        const SpectralPatch& p = patches[at(i)];
        placed = placed && p.place;
        for (Index k = 0; k < bands; ++k) reflectances(i, k) = p.reflectance[at(k)];
        for (Index c = 0; c < 3; ++c) {
            response(c * n + i) = p.response[at(c)];
            if (!p.known[at(c)]) continue;
            ++known;
            const double mixed_in = mixed ? noise_mixed_in * std::max({p.response[0], p.response[1], p.response[2]}) : 0;
            precision(c * n + i) = 1 / std::hypot(noise_share * std::hypot(p.response[at(c)], mixed_in), noise_floor * weakness[at(c)],
                                                  p.standard_error[at(c)]);
        }
    }
    const Index field_terms = placed ? LightField::quadratic_terms : 0;
    const Index bell_count = mixed ? static_cast<Index>(std::tuple_size_v<ToneBells>) : 0;
    const Index tone_at = 3 + 3 * field_terms, extra = tone_at + 4 * bell_count;  // the tone's: in common, then each channel's own
    MatrixXd shared = MatrixXd::Zero(3 * n, extra);
    for (Index i = 0; i < n; ++i)
        for (Index c = 0; c < 3; ++c) {
            shared(c * n + i, c) = glare_width / patches[at(i)].light[at(c)];
            for (Index k = 0; k < field_terms; ++k)
                shared(c * n + i, 3 + c * field_terms + k) =
                    (k < 2 ? field_width : field_width_curved) * (*patches[at(i)].place)[at(k)] * patches[at(i)].response[at(c)];
            for (Index k = 0; k < bell_count; ++k) {
                const double of_bell = patches[at(i)].tone[at(c)][at(k)];
                shared(c * n + i, tone_at + k) = tone_width * of_bell;
                shared(c * n + i, tone_at + (1 + c) * bell_count + k) = tone_width_apart * of_bell;
            }
        }
    const auto problem_under = [&](const LibraryLight& light, const MatrixXd& fine_bells) {
        Problem p;
        p.curves = curves_under(light, prior, fine_bells, coarse);
        if (mixed)
            p.curves = mixed_curves(p.curves, best_mixture(p.curves.mean, reflectances, response, precision),
                                    static_cast<Index>(prior.components.size()));
        const Index columns = p.curves.loading[0].cols(), own = mixed ? 0 : fine_bells.cols(), common = columns - 3 * own;
        p.design = MatrixXd::Zero(3 * n, columns + extra);
        p.miss = response;
        for (Index c = 0; c < 3; ++c) {
            const MatrixXd& loading = p.curves.loading[at(c)];
            p.design.block(c * n, 0, n, common).noalias() = reflectances * loading.leftCols(common);
            p.design.block(c * n, common + c * own, n, own).noalias() = reflectances * loading.middleCols(common + c * own, own);
            p.miss.segment(c * n, n) -= reflectances * p.curves.mean[at(c)];
        }
        p.design.rightCols(extra) = shared;
        p.design = precision.asDiagonal() * p.design;
        p.miss = precision.asDiagonal() * p.miss;
        p.normal = MatrixXd::Zero(columns + extra, columns + extra);
        p.normal.selfadjointView<Eigen::Lower>().rankUpdate(p.design.transpose());
        p.normal.triangularView<Eigen::StrictlyUpper>() = p.normal.transpose();
        p.product = p.design.transpose() * p.miss;
        p.square = p.miss.squaredNorm();
        return p;
    };

    // Most lights are out of the question, and a coarse look says so.
    std::vector<std::pair<double, std::size_t>> order;
    for (std::size_t k = 0; k < prior.lights.size(); ++k) {
        const Problem p = problem_under(prior.lights[k], MatrixXd(bands, 0));
        double greatest = -1e300;
        for (const double scale : {1.5, 3.0, 6.0, 12.0}) greatest = std::max(greatest, p.log_evidence(scale, known));
        if (std::isfinite(greatest)) order.emplace_back(-greatest, k);
    }
    std::sort(order.begin(), order.end());
    order.resize(std::min(order.size(), looked_at));
    std::vector<Problem> problems;
    for (const auto& [unused, k] : order) {
        problems.push_back(problem_under(prior.lights[k], fine));
        problems.back().light = k;
    }

    // Noise and light together, by the evidence.
    std::vector<double> evidence(problems.size());
    double best = -1e300;
    for (double scale = least_scale; scale <= most_scale; scale *= 1.4142135623730951) {
        std::vector<double> here;
        double greatest = -1e300;
        for (const Problem& p : problems) {
            here.push_back(p.log_evidence(scale, known));
            if (std::isfinite(here.back())) greatest = std::max(greatest, here.back());
        }
        if (greatest < best - 10) break;
        if (greatest <= best) continue;
        best = greatest;
        scale_ = scale;
        evidence = here;
    }
    if (!(best > -1e300)) return;
    for (std::size_t k = 0; k < evidence.size(); ++k)
        if (std::isfinite(evidence[k])) shares_.push_back({k, std::exp(evidence[k] - best)});  // index of the problem, for a while
    std::sort(shares_.begin(), shares_.end(), [](const LightShare& a, const LightShare& b) { return a.share > b.share; });
    shares_.resize(std::min(shares_.size(), most_lights));
    while (shares_.back().share < least_share) shares_.pop_back();
    double sum = 0;
    for (const LightShare& s : shares_) sum += s.share;
    for (LightShare& s : shares_) s.share /= sum;

    const auto tone_of = [&](const VectorXd& of_shared, Index c) {
        ToneBells out{};
        for (Index k = 0; k < bell_count; ++k)
            out[at(k)] = tone_width * of_shared(tone_at + k) + tone_width_apart * of_shared(tone_at + (1 + c) * bell_count + k);
        return out;
    };
    Normal normal;
    VectorXd shared_mean = VectorXd::Zero(extra);
    held_out_.assign(patches.size(), Vector3{});
    for (std::size_t s = 0; s < shares_.size(); ++s) {
        const Problem& p = problems[shares_[s].light];
        const Eigen::LLT<MatrixXd> factor(p.posterior(scale_));
        const VectorXd mean = factor.solve(p.product) / (scale_ * scale_);
        const Index columns = p.curves.loading[0].cols();
        shared_mean += shares_[s].share * mean.tail(extra);

        // As many cameras as the light's share, none left out that has any.
        std::size_t count = 0;
        const double before = static_cast<double>(drawn_.size());
        double until = 0;
        for (std::size_t k = 0; k <= s; ++k) until += shares_[k].share * draws;
        count = static_cast<std::size_t>(std::max(1.0, std::round(until - before)));
        for (std::size_t d = 0; d < count; ++d) {
            VectorXd noise(mean.size());
            for (Index k = 0; k < noise.size(); ++k) noise(k) = normal();
            const VectorXd z = mean + factor.matrixU().solve(noise);
            DrawnCamera camera;
            camera.curves.resize(3, bands);
            for (Index c = 0; c < 3; ++c) {
                camera.curves.row(c) = (p.curves.mean[at(c)] + p.curves.loading[at(c)] * z.head(columns)).transpose();
                camera.glare(c) = glare_width * z(columns + c);
                camera.tone[at(c)] = tone_of(z.tail(extra), c);
            }
            drawn_.push_back(std::move(camera));
        }

        if (s > 0) continue;
        // Without some rows (Woodbury), under the likeliest light.
        const VectorXd gradient = p.product / (scale_ * scale_);
        for (std::size_t i = 0; i < patches.size(); ++i) {
            MatrixXd rows(3 * static_cast<Index>(patches[i].twins.size()), p.design.cols());
            VectorXd miss(rows.rows());
            Index r = 0;
            for (const std::size_t twin : patches[i].twins)
                for (Index c = 0; c < 3; ++c, ++r) {
                    rows.row(r) = p.design.row(c * n + static_cast<Index>(twin)) / scale_;
                    miss(r) = p.miss(c * n + static_cast<Index>(twin)) / scale_;
                }
            const MatrixXd solved = factor.solve(rows.transpose());
            const VectorXd reduced = factor.solve(gradient - rows.transpose() * miss);
            const MatrixXd small = MatrixXd::Identity(rows.rows(), rows.rows()) - rows * solved;
            const VectorXd without = reduced + solved * small.ldlt().solve(rows * reduced);
            for (Index c = 0; c < 3; ++c) {
                const Index row = c * n + static_cast<Index>(i);
                held_out_[i][at(c)] = patches[i].response[at(c)];
                if (precision(row) > 0)
                    held_out_[i][at(c)] -= (p.miss(row) - p.design.row(row).dot(without)) / precision(row);
            }
        }
    }
    for (Index c = 0; c < 3; ++c) {
        glare_[at(c)] = glare_width * shared_mean(c);
        for (Index k = 0; k < field_terms; ++k)
            field_[at(c)][at(k)] = (k < 2 ? field_width : field_width_curved) * shared_mean(3 + c * field_terms + k);
        tone_[at(c)] = tone_of(shared_mean, c);
    }
    for (LightShare& s : shares_) s.light = problems[s.light].light;
    sound_ = !drawn_.empty();
    for (DrawnCamera& camera : drawn_) {
        for (Index c = 0; c < 3; ++c) {
            camera.glare(c) -= glare_[at(c)];
            for (std::size_t k = 0; k < tone_[at(c)].size(); ++k) camera.tone[at(c)][k] -= tone_[at(c)][k];
        }
        sound_ = sound_ && camera.curves.allFinite() && camera.glare.allFinite();
    }
}

ThreadMap::ThreadMap(const CameraEstimate& camera, const std::vector<SpectralPatch>& card, const ToneCurve& tone, const Vector3& gain,
                     ColourModel model)
    : model_(model) {
    const std::vector<VirtualThread>& threads = virtual_threads();
    const auto count = static_cast<Index>(threads.size()), cards = static_cast<Index>(card.size());
    const auto drawn = static_cast<Index>(camera.drawn().size());
    const auto terms = static_cast<Index>(map_terms(model));
    static const MatrixXd reflectances = [&] {
        MatrixXd out(bands, count);
        for (Index t = 0; t < count; ++t)
            for (Index k = 0; k < bands; ++k) out(k, t) = threads[at(t)].reflectance[at(k)];
        return out;
    }();
    // Each drawn camera sees each thread. Where on the tone curve that is, the first says for all: they hardly differ.
    const auto sees = [&](const DrawnCamera& one) -> MatrixXd { return (one.curves * reflectances).colwise() + one.glare; };
    std::vector<std::array<ToneBells, 3>> bells_of;
    if (camera.channels() == Channels::mixed) {
        const MatrixXd seen = sees(camera.drawn().front());
        for (Index t = 0; t < count; ++t) {
            const Vector3 encoded = tone.to_encoded({seen(0, t) / gain[0], seen(1, t) / gain[1], seen(2, t) / gain[2]});
            bells_of.push_back({tone_bells(encoded[0]), tone_bells(encoded[1]), tone_bells(encoded[2])});
        }
    }
    MatrixXd features(count * drawn + cards, terms);
    for (Index d = 0; d < drawn; ++d) {
        const DrawnCamera& one = camera.drawn()[at(d)];
        MatrixXd seen = sees(one);
        for (Index t = 0; t < count; ++t) {
            for (Index c = 0; c < 3 && !bells_of.empty(); ++c) seen(c, t) *= 1 + of_bells(one.tone[at(c)], bells_of[at(t)][at(c)]);
            const auto row = expand(model, {seen(0, t), seen(1, t), seen(2, t)});
            for (Index k = 0; k < terms; ++k) features(d * count + t, k) = row[at(k)];
            responses_.push_back({seen(0, t), seen(1, t), seen(2, t)});
        }
    }
    for (Index i = 0; i < cards; ++i) {
        const auto row = expand(model, card[at(i)].response);
        for (Index k = 0; k < terms; ++k) features(count * drawn + i, k) = row[at(k)];
    }
    std::vector<Vector3> held_out(card.size());
    for (Index out = 0; out < 3; ++out) {
        VectorXd target(features.rows()), weight(features.rows());
        const auto fill = [&](Index row, const XYZ<D50>& colour, double share) {
            const double white = out == 0 ? D50::X : out == 1 ? D50::Y : D50::Z;
            const double value = colour.vector()[at(out)];
            target(row) = value;
            // Errors count as in CIELAB, but for the darkest, where it is all noise.
            const double slope = 1 / (3 * std::pow(std::max(value / white, 0.01), 2.0 / 3.0) * white);
            weight(row) = share * slope * slope;
        };
        for (Index t = 0; t < count; ++t)
            for (Index d = 0; d < drawn; ++d) fill(d * count + t, threads[at(t)].colour, 1.0 / static_cast<double>(drawn));
        for (Index i = 0; i < cards; ++i) {
            const bool whole = card[at(i)].known == std::array<bool, 3>{true, true, true};
            fill(count * drawn + i, card[at(i)].colour, whole ? card_weight : 0);
        }
        MatrixXd normal = features.transpose() * weight.asDiagonal() * features;
        const double mean = normal.diagonal().head(3).mean();
        for (Index k = 3; k < terms; ++k) normal(k, k) += ridge * mean;
        const VectorXd product = features.transpose() * weight.cwiseProduct(target);
        const VectorXd row = normal.ldlt().solve(product);
        for (Index k = 0; k < terms; ++k) map_[at(out)][at(k)] = row(k);
        // A card's patch by the map without it and its twins.
        for (Index i = 0; i < cards; ++i) {
            MatrixXd less = normal;
            VectorXd less_product = product;
            for (const std::size_t twin : card[at(i)].twins) {
                const Index r = count * drawn + static_cast<Index>(twin);
                less.noalias() -= weight(r) * features.row(r).transpose() * features.row(r);
                less_product -= weight(r) * target(r) * features.row(r).transpose();
            }
            held_out[at(i)][at(out)] = features.row(count * drawn + i).dot(less.ldlt().solve(less_product));
        }
    }
    for (const Vector3& colour : held_out) held_out_.push_back(to_lab(XYZ<D50>::from(colour)));
    std::vector<double> errors;
    for (Index t = 0; t < count; ++t) {
        Seen seen{to_lab(threads[at(t)].colour), {}};
        for (Index d = 0; d < drawn; ++d) {
            Vector3 colour{};
            for (std::size_t out = 0; out < 3; ++out)
                for (Index k = 0; k < terms; ++k) colour[out] += map_[out][at(k)] * features(d * count + t, k);
            const Lab<D50> lab = to_lab(XYZ<D50>::from(colour));
            const Vector3 miss{lab.L - seen.lab.L, lab.a - seen.lab.a, lab.b - seen.lab.b};
            for (std::size_t r = 0; r < 3; ++r)
                for (std::size_t c = 0; c < 3; ++c) seen.moment(r, c) += miss[r] * miss[c] / static_cast<double>(drawn);
            if (d == t % drawn) errors.push_back(ciede2000(seen.lab, lab));
        }
        threads_.push_back(seen);
    }
    std::sort(errors.begin(), errors.end());
    forecast_median_ = errors[errors.size() / 2];
    forecast_p95_ = errors[errors.size() * 95 / 100];
}

std::optional<ThreadMap::Hidden> ThreadMap::hidden(const Vector3& response, const std::array<bool, 3>& ended, const Vector3& ends,
                                                   std::size_t channel) const {
    // What the other channels send together, and how it is divided among them.
    struct Look {
        double size = 0, hue = 0;
    };
    const auto look_of = [&](const Vector3& v) {
        double first = 0, sum = 0;
        for (std::size_t c = 0; c < 3; ++c) {
            if (ended[c]) continue;
            if (sum == 0) first = v[c];
            sum += v[c];
        }
        return Look{sum, first / sum};
    };
    const Look wanted = look_of(response);
    if (!(wanted.size > 0)) return std::nullopt;
    struct Alike {
        Look look;
        double share = 0;  // of this channel, against the others together
    };
    std::vector<Alike> alike;
    for (const Vector3& v : responses_) {
        bool same_ends = true;
        for (std::size_t c = 0; c < 3; ++c) same_ends = same_ends && (v[c] <= ends[c]) == ended[c];
        if (const Look look = look_of(v); same_ends && look.size > 0) alike.push_back({look, v[channel] / look.size});
    }
    for (double width = 1; width <= 8; width *= 2) {
        double total = 0, sum = 0, squares = 0;
        for (const auto& [look, share] : alike) {
            const double apart = std::hypot((look.hue - wanted.hue) / hidden_hue, std::log(look.size / wanted.size) / hidden_size) / width;
            const double weight = std::exp(-0.5 * apart * apart);
            total += weight;
            sum += weight * share;
            squares += weight * share * share;
        }
        if (total < least_alike) continue;
        const double mean = sum / total;
        return Hidden{mean * wanted.size, std::sqrt(std::max(squares / total - mean * mean, 0.0)) * wanted.size};
    }
    return std::nullopt;
}

Matrix3 ThreadMap::moment(const Lab<D50>& near) const {
    std::vector<std::pair<double, std::size_t>> order;
    order.reserve(threads_.size());
    for (std::size_t i = 0; i < threads_.size(); ++i) {
        const Lab<D50>& lab = threads_[i].lab;
        const double L = lab.L - near.L, a = lab.a - near.a, b = lab.b - near.b;
        order.emplace_back(L * L + a * a + b * b, i);
    }
    const std::size_t count = std::min(neighbours, order.size());
    std::nth_element(order.begin(), order.begin() + static_cast<std::ptrdiff_t>(count - 1), order.end());
    Matrix3 out;
    for (std::size_t k = 0; k < count; ++k) out = out + (1.0 / static_cast<double>(count)) * threads_[order[k].second].moment;
    return out;
}

}  // namespace bindhue::detail

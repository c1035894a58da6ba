#include "colour/coating.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>
#include <string>

#include "colour/layer.hpp"
#include "colour/smoothest.hpp"

namespace bindhue {
namespace {

// Where the numbers come from. None is measured on rod thread; all are judgement from the physics named here,
// and the spread is meant to be as wide as that.
//
// scattering: a filament scatters where its surface meets air. Thread of 21 tex wound at a pitch of 0.15 mm
//   puts 140 g of filaments, some 20 micrometres thick, on a square metre: about 20 m2 of fibre surface. At
//   4 to 5 % a crossing (Fresnel, n = 1.54) that makes S X 1 to 2. Round, straight fibres send most of it on: rays traced
//   through bundles of them (samples/render/fibres.cpp) give 0.45; twist, voids and delustrant add, and piles of plates
//   (samples/render/thread.cpp) give 2.9. Pigment, in thread made to need no preserver, adds more (1.3 and 5.3). The medians
//   lie between the two, and the spreads take in both.
// scattering_ratio: fibre against coat instead of air. Nylon 1.52 to 1.58, silk 1.54 to 1.59, polyester 1.54
//   to 1.72 across and along the fibre (from memory: Morton, Hearle, "Physical Properties of Textile Fibres")
//   in a resin of about 1.53: the step nearly vanishes for nylon and silk (common practice: white silk turns
//   clear, white nylon takes the colour of the blank), less so for polyester; pigment (titania, n over 2.5)
//   goes on scattering. Trapped air and voids keep the ratio well above the Fresnel one.
// absorption_ratio: light crosses a dry fibre on a mean path of n^2 4 V / S if it is trapped as fully as its
//   index allows (the mean path of diffuse light through a body does not depend on its shape: Blanco,
//   Fournier, Europhys. Lett. 61 (2003) 168), and of 4 V / S in a coat of its own index: a ratio down to
//   0.42. Smooth, straight fibres trap little, and deep dyes saturate: up to 1 and more. Rays give 0.2 to 0.45, plates 0.3 to 0.85.
// Under preserver the core stays dry, so both ratios are near 1: rays give 1.3 to 1.5 for scattering, since light enters aslant through the seal, and 0.95 to 1
//   for absorption; plates 0.8 to 1 for both.
// contact: regular thread soaks up finish; preserver seals the filaments so that finish cannot reach them. A
//   smooth film in full contact would darken a mid tone by 16 L even if scattering were untouched (Lekner,
//   Dorf 1988), yet the trade sees near-dry colour under preserver and on pigmented thread, so there most of
//   the fibre keeps its own surface. Finish soaks turn by turn: its contact comes in patches. A seal touches the tops of fibres, in points closer than light
//   spreads: with patches instead rays could be met only by a wetted core that scatters seven times as much as dry, which nothing does.
// haze: the film's underside over air follows the thread; no source, a guess between smooth and rough.
// Medians and spreads were set so as to take in what fits both judges, on seeds 320 to 322 (samples/render: rays and plates), within what the trade says
// (tests/unit/coating_test.cpp).
struct Spread {  // one standard deviation of ln scattering, ln ratios, logit contact, logit haze
    double scattering = 0, scattering_ratio = 0, absorption_ratio = 0, contact = 0, haze = 0;
};
struct Prior {
    CoatingParameters median;
    Spread spread;
    double residual = 0;  // Lab units: what the model leaves out (packing, uneven soak, the true spectra)
};

constexpr double coat_index = 1.53;  // cured finishes and dried preservers lie about 1.49 to 1.57

// Share of the light that the faces of dry fibres mirror toward the eye, of some 4 % (Fresnel, n = 1.54) that they mirror anywhere. A guess;
// rays traced through bundles of round fibres give 0.02.
constexpr double fibre_mirror = 0.012;
constexpr double most_mirrored = 0.6;  // of what is seen, however dark the dye (a guess)

struct LogNormal {  // or of the logit
    double median, spread;
};
struct Coat {
    LogNormal scattering_ratio, absorption_ratio, contact, haze;
    double residual;
    bool sealed = false;
};

Prior prior_of(const LogNormal& dry) {
    return {.median = {.scattering = dry.median}, .spread = {.scattering = dry.spread}, .residual = 0.7};
}
Prior prior_of(const LogNormal& dry, const Coat& coat) {
    return {.median = {.scattering = dry.median,
                       .scattering_ratio = coat.scattering_ratio.median,
                       .absorption_ratio = coat.absorption_ratio.median,
                       .contact = coat.contact.median,
                       .haze = coat.haze.median,
                       .index = coat_index,
                       .sealed = coat.sealed},
            .spread = {.scattering = dry.spread,
                       .scattering_ratio = coat.scattering_ratio.spread,
                       .absorption_ratio = coat.absorption_ratio.spread,
                       .contact = coat.contact.spread,
                       .haze = coat.haze.spread},
            .residual = coat.residual};
}

Prior prior(Material material, Schedule schedule) {
    const auto pick = [&](const LogNormal& dry, const Coat& finish, Coat sealed) {
        sealed.sealed = true;
        return schedule == Schedule::none ? prior_of(dry)
                                          : prior_of(dry, schedule == Schedule::finish ? finish : sealed);
    };
    constexpr LogNormal smooth{0.3, 1.2}, rough{0.3, 1.6};
    // Scattering; then for finish and for preserver+finish: scattering ratio, absorption ratio, contact, haze, residual.
    switch (material) {
        case Material::metallic:  // its colour is that of mirrors, not of layers: see predicted_look
        case Material::nylon:
            break;
        case Material::ncp_nylon:
        case Material::ncp_polyester:
            return pick({2.6, 0.8}, {{0.6, 0.5}, {0.45, 0.45}, {0.3, 1.3}, smooth, 1.3}, {{1.15, 0.3}, {0.93, 0.15}, {0.08, 1.2}, {0.12, 1.6}, 1.2});
        case Material::polyester:
            return pick({1.5, 0.95}, {{0.16, 0.9}, {0.55, 0.35}, {0.45, 0.9}, smooth, 1.6}, {{1.15, 0.3}, {0.93, 0.15}, {0.17, 1.1}, rough, 1.2});
        case Material::silk:
            return pick({1.5, 0.95}, {{0.025, 0.9}, {0.5, 0.4}, {0.94, 0.9}, smooth, 2.2}, {{1.1, 0.3}, {0.9, 0.15}, {0.27, 1.1}, rough, 1.3});
        case Material::monofilament:
            return pick({0.3, 0.8}, {{0.5, 0.6}, {0.65, 0.5}, {0.96, 1.2}, smooth, 2.5}, {{0.8, 0.5}, {0.9, 0.3}, {0.5, 1.5}, rough, 2.5});
    }
    return pick({1.5, 1.0}, {{0.08, 0.8}, {0.5, 0.4}, {0.85, 0.9}, smooth, 1.7}, {{1.15, 0.3}, {0.92, 0.15}, {0.25, 1.0}, rough, 1.2});
}

double logistic(double x) { return 1.0 / (1.0 + std::exp(-x)); }
double logit(double p) { return std::log(p / (1.0 - p)); }

// The prior's parameter number `which` moved by `sds` standard deviations.
void move(Prior& p, std::size_t which, double sds) {
    switch (which) {
        case 0:
            p.median.scattering *= std::exp(sds * p.spread.scattering);
            break;
        case 1:
            p.median.scattering_ratio *= std::exp(sds * p.spread.scattering_ratio);
            break;
        case 2:
            p.median.absorption_ratio *= std::exp(sds * p.spread.absorption_ratio);
            break;
        case 3:
            if (p.spread.contact > 0) p.median.contact = logistic(logit(p.median.contact) + sds * p.spread.contact);
            break;
        default:
            if (p.spread.haze > 0) p.median.haze = logistic(logit(p.median.haze) + sds * p.spread.haze);
            break;
    }
}

CoatingBelief belief_of(Material material, double size_mm, const std::optional<LayerOpacity>& opacity) {
    CoatingBelief out;
    if (opacity) {
        const InPriorDeviations known = scattering_known(material, size_mm, *opacity);
        out.learn(0, known.at, known.sd);
    }
    return out;
}

// The wrap at one wavelength.
class Wrap {
  public:
    Wrap(const CoatingParameters& p, double size_mm)
        : scattering_(p.scattering * size_mm / nominal_thread_mm),
          wetted_(scattering_ * p.scattering_ratio),
          absorption_ratio_(p.absorption_ratio),
          contact_(p.contact),
          sealed_(p.sealed),
          film_(p.index) {
        // Over air the film is a slab: light crosses it twice on the way in and out, and diffuse light from
        // below meets both its sides.
        const double oblique = fresnel_reflectance(p.index, std::numbers::pi / 4);
        const double square_on = fresnel_reflectance(p.index, 0.0);
        const double diffuse = fresnel_diffuse_external(p.index);
        slab_.gain = (1 - oblique) / (1 + oblique) * (1 - square_on) / (1 + square_on);
        slab_.returned = 2 * diffuse / (1 + diffuse);
        haze_ = film_.outside(p.haze * oblique);
        if (p.sealed) {
            slab_.gain += contact_ * (film_.gain - slab_.gain);
            slab_.returned += contact_ * (film_.returned - slab_.returned);
        }
    }

    double seen(double dry, double ground) const {
        // However dark the dye, dry fibres mirror some light that never entered them; none mirror more than is seen.
        const double mirrored = fibre_mirror * (1 - std::exp(-most_mirrored * dry / fibre_mirror));
        const double absorption = k_over_s((dry - mirrored) / (1 - mirrored)) * scattering_;
        if (sealed_) {
            const double core = TwoFluxLayer{absorption * absorption_ratio_, wetted_}.reflectance_over(ground), left = (1 - contact_) * mirrored;
            return std::min(slab_.outside(left + (1 - left) * core) + (1 - contact_) * haze_, 1.0);
        }
        double out = 0;
        if (contact_ < 1) {
            const double layer = TwoFluxLayer{absorption, scattering_}.reflectance_over(ground);
            out += (1 - contact_) * (slab_.outside(mirrored + (1 - mirrored) * layer) + haze_);
        }
        if (contact_ > 0) {
            const double layer =
                TwoFluxLayer{absorption * absorption_ratio_, wetted_}.reflectance_over(film_.inside(ground));
            out += contact_ * film_.outside(layer);
        }
        return std::min(out, 1.0);
    }

  private:
    double scattering_, wetted_, absorption_ratio_, contact_;
    bool sealed_;
    Film film_, slab_;
    double haze_ = 0;
};

constexpr std::size_t stride = (spectrum_size - 1) / (Surface::coarse_size - 1);
static_assert(stride * (Surface::coarse_size - 1) + 1 == spectrum_size);
constexpr double lowest = 1e-5;  // no thread is blacker, and K/S stays finite

// XYZ weights of the coarse grid: those of the fine one, shared out as for a piecewise linear spectrum.
using CoarseWeights = std::array<Vector3, Surface::coarse_size>;
const CoarseWeights& coarse_weights() {
    static const CoarseWeights weights = [] {
        CoarseWeights out{};
        for (std::size_t i = 0; i < spectrum_size; ++i) {
            Spectrum impulse;
            impulse[i] = 1;
            const Vector3 w = reflectance_to_xyz_d50(impulse).vector();
            const std::size_t left = i / stride;
            const double right_share = static_cast<double>(i % stride) / static_cast<double>(stride);
            for (std::size_t k = 0; k < 3; ++k) {
                out[left][k] += (1 - right_share) * w[k];
                if (right_share > 0) out[left + 1][k] += right_share * w[k];
            }
        }
        return out;
    }();
    return weights;
}

Vector3 coarse_look(const Wrap& wrap, const Surface::Coarse& dry, const Surface::Coarse& ground) {
    const CoarseWeights& weights = coarse_weights();
    Vector3 xyz{};
    for (std::size_t i = 0; i < dry.size(); ++i) {
        const double r = wrap.seen(dry[i], ground[i]);
        for (std::size_t k = 0; k < 3; ++k) xyz[k] += weights[i][k] * r;
    }
    return to_lab(XYZ<D50>::from(xyz)).vector();
}

Surface::Coarse moved(const Surface& surface, std::size_t axis, double by) {
    Surface::Coarse out = surface.coarse();
    for (std::size_t i = 0; i < out.size(); ++i)
        out[i] = std::clamp(out[i] + by * surface.coarse_slope(axis)[i], lowest, 1.0);
    return out;
}

Vector3 minus(const Vector3& a, const Vector3& b) { return {a[0] - b[0], a[1] - b[1], a[2] - b[2]}; }

void add_outer(Matrix3& c, const Vector3& v, double factor) {
    for (std::size_t i = 0; i < 3; ++i)
        for (std::size_t j = 0; j < 3; ++j) c(i, j) += factor * v[i] * v[j];
}

// d Lab of the wrap / d Lab of the dry thread or the ground; look(axis, step) evaluates it.
template <class Look>
Matrix3 jacobian(const Vector3& base, const Look& look) {
    constexpr double step = 0.5;
    Matrix3 out;
    for (std::size_t axis = 0; axis < 3; ++axis) {
        const Vector3 d = minus(look(axis, step), base);
        for (std::size_t row = 0; row < 3; ++row) out(row, axis) = d[row] / step;
    }
    return out;
}

Matrix3 slope_by_dry(const Wrap& wrap, const Vector3& base, const Surface& dry, const Surface& ground) {
    return jacobian(base, [&](std::size_t axis, double step) {
        return coarse_look(wrap, moved(dry, axis, step), ground.coarse());
    });
}
Matrix3 slope_by_ground(const Wrap& wrap, const Vector3& base, const Surface& dry, const Surface& ground) {
    return jacobian(base, [&](std::size_t axis, double step) {
        return coarse_look(wrap, dry.coarse(), moved(ground, axis, step));
    });
}

Matrix3 carried(const Matrix3& jacobian, const Matrix3& covariance) {
    const Matrix3 c = jacobian * covariance * transpose(jacobian);
    return 0.5 * (c + transpose(c));
}

Status check_size(double size_mm) {
    if (size_mm >= min_thread_mm && size_mm <= max_thread_mm) return ok();
    return Error{Reason::bad_value, "The thread diameter is outside 0.05..1 mm.", "size_mm",
                 "Give the diameter in millimetres, for instance 0.15."};
}

constexpr std::array<std::string_view, all_materials.size()> material_names{
    "nylon", "ncp-nylon", "polyester", "ncp-polyester", "silk", "metallic", "monofilament"};
constexpr std::array<std::string_view, all_schedules.size()> schedule_names{"none", "finish",
                                                                            "preserver+finish"};

template <class Enum, std::size_t size>
Result<Enum> parse(std::string_view text, const std::array<Enum, size>& values,
                   const std::array<std::string_view, size>& names, const char* what) {
    for (std::size_t i = 0; i < size; ++i)
        if (text == names[i]) return values[i];
    std::string list;
    for (const std::string_view known : names) list.append(list.empty() ? "" : ", ").append(known);
    return Error{Reason::bad_value,
                 std::string("Unknown ") + what + " \"" + std::string(text.substr(0, 40)) + "\".", what,
                 "Use one of: " + list + "."};
}

}  // namespace

std::string_view name(Material material) { return material_names[static_cast<std::size_t>(material)]; }
std::string_view name(Schedule schedule) { return schedule_names[static_cast<std::size_t>(schedule)]; }
Result<Material> parse_material(std::string_view text) {
    return parse(text, all_materials, material_names, "material");
}
Result<Schedule> parse_schedule(std::string_view text) {
    return parse(text, all_schedules, schedule_names, "schedule");
}

int coats(Schedule schedule) { return schedule == Schedule::none ? 0 : schedule == Schedule::finish ? 2 : 4; }

Surface Surface::nearest(const Reading& reading) {
    Surface out;
    out.reading_ = reading;
    const Lab<D50> wanted{std::clamp(reading.lab.L, 0.2, 99.8), reading.lab.a, reading.lab.b};
    const auto with_chroma = [&](double share) {
        return Lab<D50>{wanted.L, share * wanted.a, share * wanted.b};
    };
    Lab<D50> used = wanted;
    if (const auto found = smoothest_reflectance(to_xyz(wanted))) {
        out.reflectance_ = *found;
    } else {
        double inside = 0, outside = 1;
        used = with_chroma(0);
        out.reflectance_ = Spectrum::constant(to_xyz(used).Y);
        for (int i = 0; i < 8; ++i) {
            const double middle = 0.5 * (inside + outside);
            if (const auto nearer = smoothest_reflectance(to_xyz(with_chroma(middle)))) {
                inside = middle;
                used = with_chroma(middle);
                out.reflectance_ = *nearer;
            } else {
                outside = middle;
            }
        }
    }
    out.misfit_ = minus(reading.lab.vector(), used.vector());
    for (double& r : out.reflectance_.values) r = std::clamp(r, lowest, 1.0);
    for (std::size_t i = 0; i < coarse_size; ++i) out.coarse_[i] = out.reflectance_[stride * i];

    // How the spectrum moves with the colour: in the inverse hyperbolic tangent of the reflectance, where the
    // smoothest spectrum is a smooth curve, by a sum of three broad humps.
    std::array<Coarse, 3> hump{};
    Matrix3 by_hump;
    for (std::size_t i = 0; i < coarse_size; ++i) {
        const double nm = Spectrum::wavelength_nm(stride * i), r = out.coarse_[i];
        constexpr std::array<double, 3> centre{610, 540, 450};
        for (std::size_t h = 0; h < 3; ++h) {
            const double x = (nm - centre[h]) / 50;
            hump[h][i] = 2 * r * (1 - r) * std::exp(-0.5 * x * x);
            for (std::size_t k = 0; k < 3; ++k) by_hump(k, h) += coarse_weights()[i][k] * hump[h][i];
        }
    }
    const Matrix3 to_coarse_lab = lab_jacobian(to_xyz(used)) * by_hump;
    if (std::abs(determinant(to_coarse_lab)) > 1e-12) {
        const Matrix3 humps_by_lab = inverse(to_coarse_lab);
        for (std::size_t axis = 0; axis < 3; ++axis)
            for (std::size_t i = 0; i < coarse_size; ++i)
                for (std::size_t h = 0; h < 3; ++h) out.slope_[axis][i] += hump[h][i] * humps_by_lab(h, axis);
    }
    return out;
}

Result<Surface> Surface::from(const Reading& reading) {
    if (const Status status = validate(reading); !status) return status.error();
    Surface out = nearest(reading);
    const Matrix3& c = reading.covariance;
    const double off = std::hypot(out.misfit_[0], out.misfit_[1], out.misfit_[2]);
    if (off > std::max(5.0, 3 * std::sqrt(c(0, 0) + c(1, 1) + c(2, 2))))
        return Error{Reason::bad_value, "No plain surface has this colour in daylight.", "lab",
                     "Read it again; if the thread is fluorescent, judge it by eye."};
    return out;
}

CoatingParameters coating_prior(Material material, Schedule schedule) {
    return prior(material, schedule).median;
}

Status validate(const LayerOpacity& opacity) {
    if (opacity.scattering >= 0.01 && opacity.scattering <= 100 && opacity.log_sd >= 0.01 && opacity.log_sd <= 3) return ok();
    return Error{Reason::bad_value, "The opacity is outside its range.", "opacity",
                 "The scattering of one layer lies between 0.01 and 100, the deviation of its logarithm between 0.01 and 3."};
}

InPriorDeviations scattering_known(Material material, double size_mm, const LayerOpacity& opacity) {
    const Prior p = prior(material, Schedule::none);
    return {std::log(opacity.scattering * nominal_thread_mm / (size_mm * p.median.scattering)) / p.spread.scattering, opacity.log_sd / p.spread.scattering};
}

double coating_residual(Material material, Schedule schedule) { return prior(material, schedule).residual; }

Matrix3 coating_residual(Material material, Schedule schedule, const Surface& dry) {
    const double sd = coating_residual(material, schedule), chroma = std::hypot(dry.reading().lab.a, dry.reading().lab.b);
    const double sd_ab = sd * (0.6 + 0.015 * chroma);
    return Matrix3::diagonal({sd * sd, sd_ab * sd_ab, sd_ab * sd_ab});
}

void CoatingBelief::learn(std::size_t parameter, double where, double sd) {
    const PriorDeviations column = covariance[parameter];
    const double all = column[parameter] + sd * sd, off = where - at[parameter];
    for (std::size_t i = 0; i < coating_parameters; ++i) {
        at[i] += column[i] / all * off;
        for (std::size_t k = 0; k < coating_parameters; ++k) covariance[i][k] -= column[i] * column[k] / all;
    }
}

CoatingParameters coating_prior(Material material, Schedule schedule, const PriorDeviations& moved_by) {
    Prior p = prior(material, schedule);
    for (std::size_t which = 0; which < coating_parameters; ++which) move(p, which, moved_by[which]);
    return p.median;
}

Lab<D50> coated_look(const CoatingParameters& parameters, double size_mm, const Surface& dry,
                     const Surface& ground) {
    const Wrap wrap(parameters, size_mm);
    Spectrum seen;
    for (std::size_t i = 0; i < spectrum_size; ++i)
        seen[i] = wrap.seen(dry.reflectance()[i], ground.reflectance()[i]);
    const Lab<D50> look = to_lab(reflectance_to_xyz_d50(seen));
    const Vector3 misfit = dry.misfit();
    return {std::clamp(look.L + misfit[0], 0.0, 110.0), look.a + misfit[1], look.b + misfit[2]};
}

LookSlopes look_slopes(Material material, Schedule schedule, const PriorDeviations& moved_by, double size_mm,
                       const Surface& dry, const Surface& ground) {
    const Wrap wrap(coating_prior(material, schedule, moved_by), size_mm);
    const Vector3 base = coarse_look(wrap, dry.coarse(), ground.coarse());
    LookSlopes out{slope_by_dry(wrap, base, dry, ground), slope_by_ground(wrap, base, dry, ground), {}};
    constexpr double step = 0.02;
    for (std::size_t k = 0; k < moved_by.size(); ++k) {
        auto less = moved_by, more = moved_by;
        less[k] -= step;
        more[k] += step;
        const auto look = [&](const PriorDeviations& at) {
            return coarse_look(Wrap(coating_prior(material, schedule, at), size_mm), dry.coarse(), ground.coarse());
        };
        const Vector3 d = minus(look(more), look(less));
        for (std::size_t axis = 0; axis < 3; ++axis) out.by_parameter[k][axis] = d[axis] / (2 * step);
    }
    return out;
}

Lab<D50> predicted_look(Material material, Schedule schedule, double size_mm, const Surface& dry,
                        const Surface& ground, const std::optional<LayerOpacity>& opacity) {
    if (material == Material::metallic) return dry.reading().lab;
    return predicted_look(material, schedule, size_mm, dry, ground, belief_of(material, size_mm, opacity));
}

Lab<D50> predicted_look(Material material, Schedule schedule, double size_mm, const Surface& dry, const Surface& ground, const CoatingBelief& belief) {
    return coated_look(coating_prior(material, schedule, belief.at), size_mm, dry, ground);
}

FinishedCovariance predicted_covariance(Material material, Schedule schedule, double size_mm,
                                        const Surface& dry, const Surface& ground, const std::optional<LayerOpacity>& opacity) {
    if (material == Material::metallic) {
        // Flakes are mirrors: lightness swings with the angle of light and eye, hue much less. The size of
        // the swing is a guess.
        return {dry.reading().covariance, dry.reading().shared, Matrix3::diagonal({64, 9, 9}), Matrix3::identity()};
    }
    FinishedCovariance out = predicted_covariance(material, schedule, size_mm, dry, ground, belief_of(material, size_mm, opacity));
    out.rest = out.rest + coating_residual(material, schedule, dry);
    return out;
}

FinishedCovariance predicted_covariance(Material material, Schedule schedule, double size_mm, const Surface& dry, const Surface& ground,
                                        const CoatingBelief& belief) {
    FinishedCovariance out;
    const Wrap wrap(coating_prior(material, schedule, belief.at), size_mm);
    const Vector3 base = coarse_look(wrap, dry.coarse(), ground.coarse());

    const Matrix3 by_dry = slope_by_dry(wrap, base, dry, ground);
    const Matrix3 by_ground = slope_by_ground(wrap, base, dry, ground);
    out.by_dry = by_dry;
    out.from_dry = carried(by_dry, dry.reading().covariance);
    out.shared = carried(by_dry, dry.reading().shared);
    out.rest = carried(by_ground, ground.reading().covariance);

    // For a look that runs as y0 + b z + c z^2 with z standard normal, E (y - y0)^2 = b^2 + 3 c^2.
    std::array<Vector3, coating_parameters> slope{};
    PriorDeviations sd{};
    for (std::size_t k = 0; k < coating_parameters; ++k) {
        sd[k] = std::sqrt(std::max(belief.covariance[k][k], 1e-12));
        const auto at = [&](double sds) {
            PriorDeviations there = belief.at;
            there[k] += sds * sd[k];
            return minus(coarse_look(Wrap(coating_prior(material, schedule, there), size_mm), dry.coarse(), ground.coarse()), base);
        };
        const Vector3 down = at(-1), up = at(1);
        slope[k] = {(up[0] - down[0]) / 2, (up[1] - down[1]) / 2, (up[2] - down[2]) / 2};
        add_outer(out.rest, {(up[0] + down[0]) / 2, (up[1] + down[1]) / 2, (up[2] + down[2]) / 2}, 3);
    }
    for (std::size_t k = 0; k < coating_parameters; ++k)
        for (std::size_t m = 0; m < coating_parameters; ++m) {
            const double correlation = belief.covariance[k][m] / (sd[k] * sd[m]);
            for (std::size_t i = 0; i < 3; ++i)
                for (std::size_t j = 0; j < 3; ++j) out.rest(i, j) += correlation * 0.5 * (slope[k][i] * slope[m][j] + slope[m][i] * slope[k][j]);
        }
    // A colour that no plain surface has may coat as none does.
    add_outer(out.rest, dry.misfit(), 1);
    return out;
}

Lab<D50> coated_ground_look(const Surface& bare, double matte) {
    static const Film film(coat_index);
    Spectrum seen;
    for (std::size_t i = 0; i < spectrum_size; ++i) {
        const double r = bare.reflectance()[i];
        seen[i] = (1 - matte) * r + matte * film.outside(r);
    }
    const Lab<D50> look = to_lab(reflectance_to_xyz_d50(seen));
    const Vector3 misfit = bare.misfit();
    return {std::clamp(look.L + misfit[0], 0.0, 110.0), look.a + misfit[1], look.b + misfit[2]};
}

Result<WrapSurfaces> wrap_surfaces(double size_mm, const Reading& dry, const Reading& ground) {
    if (const Status status = check_size(size_mm); !status) return status.error();
    auto dry_surface = Surface::from(dry);
    if (!dry_surface)
        return Error{dry_surface.error().reason, dry_surface.error().what, "dry", dry_surface.error().mend};
    auto ground_surface = Surface::from(ground);
    if (!ground_surface)
        return Error{ground_surface.error().reason, ground_surface.error().what, "ground",
                     ground_surface.error().mend};
    return WrapSurfaces{std::move(*dry_surface), std::move(*ground_surface)};
}

Result<Reading> predict_finished(Material material, Schedule schedule, double size_mm, const Reading& dry,
                                 const Reading& ground, const std::optional<LayerOpacity>& opacity) {
    const Result<WrapSurfaces> wrap = wrap_surfaces(size_mm, dry, ground);
    if (!wrap) return wrap.error();
    if (opacity)
        if (const Status sound = validate(*opacity); !sound) return sound.error();
    const FinishedCovariance covariance = predicted_covariance(material, schedule, size_mm, wrap->dry, wrap->ground, opacity);
    return Reading{predicted_look(material, schedule, size_mm, wrap->dry, wrap->ground, opacity),
                   covariance.from_dry + covariance.rest, dry.context};
}

}  // namespace bindhue

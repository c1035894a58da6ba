#include "colour/opacity.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

#include "colour/layer.hpp"

namespace bindhue {
namespace {

using Looks = Eigen::Matrix<double, 6, 1>;  // Lab over black, Lab over white
using Noise = Eigen::Matrix<double, 6, 6>;

// Before the wrap is read: any thread, so that what is found says what the wrap says and the prior counts once.
constexpr double log_width = 2.0;
// What two-flux and real layers differ by in the logarithm of scattering (a guess, as wide as two judges of coats ask for: tests/accuracy/README.md).
constexpr double log_left_out = 0.2;
constexpr double log_step = 0.05;
// CIELAB units that a layer may be off on each axis beyond all errors before it is taken for another thread (gaps between turns, an uneven wind; a guess).
constexpr double off_limit = 2.5;

Eigen::Vector3d vector_of(const Lab<D50>& lab) { return {lab.L, lab.a, lab.b}; }
Eigen::Matrix3d matrix_of(const Matrix3& m) { return Eigen::Map<const Eigen::Matrix<double, 3, 3, Eigen::RowMajor>>(m.m.data()); }

}  // namespace

Result<OpacityFound> find_opacity(Material material, double size_mm, const OpacityTest& test) {
    if (material == Material::metallic)
        return Error{Reason::bad_value, "Metallic thread hides by mirrors: it has no layer that scatters.", "material", "It needs no such test."};
    const Result<WrapSurfaces> over_black = wrap_surfaces(size_mm, test.spool, test.black);
    if (!over_black) return over_black.error();
    const Result<Surface> white = Surface::from(test.white);
    if (!white) return Error{white.error().reason, white.error().what, "white", white.error().mend};
    for (const auto& [reading, field] : {std::pair{&test.over_black, "over_black"}, std::pair{&test.over_white, "over_white"}})
        if (const Status sound = validate(*reading); !sound) return Error{sound.error().reason, sound.error().what, field, sound.error().mend};
    if (test.white.lab.L - test.black.lab.L < least_grounds_apart)
        return Error{Reason::bad_value, "The two grounds are less than 30 L apart.", "white", "Wind the thread across a black and a white ground."};

    const Surface& dry = over_black->dry;
    const std::array<const Surface*, 2> grounds{&over_black->ground, &*white};
    // The layer's parameters are its material's; only scattering is moved.
    CoatingParameters layer = coating_prior(material, Schedule::none);
    const double start = std::log(layer.scattering);
    const auto look = [&](double log_scattering) {
        layer.scattering = std::exp(log_scattering);
        Looks out;
        for (int i = 0; i < 2; ++i) out.segment<3>(3 * i) = vector_of(coated_look(layer, size_mm, dry, *grounds[static_cast<std::size_t>(i)]));
        return out;
    };
    Looks read;
    read << vector_of(test.over_black.lab), vector_of(test.over_white.lab);
    const double width = scattering_known(material, size_mm, {1, 1}).sd;  // 1 / the prior's deviation
    double at = start, precision = 0, misfit = 0;
    for (int round = 0; round < 20; ++round) {
        Noise noise = Noise::Zero();
        noise.topLeftCorner<3, 3>() = matrix_of(test.over_black.covariance);
        noise.bottomRightCorner<3, 3>() = matrix_of(test.over_white.covariance);
        Eigen::Matrix<double, 6, 3> by_dry;
        const std::array<double, 5> moved{(at - start) * width, 0, 0, 0, 0};
        for (int i = 0; i < 2; ++i) {
            const Surface& ground = *grounds[static_cast<std::size_t>(i)];
            const LookSlopes slopes = look_slopes(material, Schedule::none, moved, size_mm, dry, ground);
            const Eigen::Matrix3d by_ground = matrix_of(slopes.by_ground);
            noise.block<3, 3>(3 * i, 3 * i) += by_ground * matrix_of(ground.reading().covariance) * by_ground.transpose();
            by_dry.block<3, 3>(3 * i, 0) = matrix_of(slopes.by_dry);
        }
        const double residual = coating_residual(material, Schedule::none);
        noise += by_dry * matrix_of(test.spool.covariance) * by_dry.transpose() + residual * residual * Noise::Identity();
        const Noise precise = noise.inverse();
        const Looks off = read - look(at), slope = (look(at + log_step) - look(at - log_step)) / (2 * log_step);
        precision = slope.dot(precise * slope) + 1 / (log_width * log_width);
        misfit = off.dot((noise + off_limit * off_limit * Noise::Identity()).inverse() * off);
        const double step = (slope.dot(precise * off) - (at - start) / (log_width * log_width)) / precision;
        at = std::clamp(at + std::clamp(step, -0.7, 0.7), start - 3.5, start + 3.5);
        if (std::abs(step) < 1e-3) break;
    }
    OpacityFound out;
    out.layer.scattering = std::clamp(std::exp(at) * size_mm / nominal_thread_mm, 0.01, 100.0);
    out.layer.log_sd = std::clamp(std::sqrt(1 / precision + log_left_out * log_left_out), 0.01, 3.0);
    const auto luminance = [](const Reading& reading) {
        const XYZ<D50> xyz = to_xyz(reading.lab);
        return std::pair{xyz.Y, std::sqrt(reading.covariance(0, 0)) * 3 * std::pow((reading.lab.L + 16) / 116, 2) / 116};
    };
    const auto [dark, dark_sd] = luminance(test.over_black);
    const auto [light, light_sd] = luminance(test.over_white);
    if (light > 0) {
        out.contrast_ratio = contrast_ratio(dark, light);
        out.contrast_ratio_sd = out.contrast_ratio * std::hypot(dark_sd / std::max(dark, 1e-6), light_sd / light);
    }
    out.as_thread = misfit < 20.5;  // five degrees of freedom
    return out;
}

}  // namespace bindhue

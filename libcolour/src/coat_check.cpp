#include "colour/coat_check.hpp"

#include <algorithm>
#include <cmath>

#include "matrix_eigen.hpp"

namespace bindhue {
namespace {

using Column = Eigen::Vector3d;

constexpr double two_sided_95 = 1.96;  // normal
constexpr double degrees = 57.295779513082320877;

Estimate about(double value, double variance) {
    const double reach = two_sided_95 * std::sqrt(std::max(variance, 0.0));
    return {value, value - reach, value + reach};
}

// Covariances of two colours and between them: E (after - mean) (before - mean)^T.
struct Joint {
    Lab<D50> before, after;
    Square of_before, of_after, between;

    double variance(const Column& by_before, const Column& by_after) const {
        return by_after.dot(of_after * by_after) + by_before.dot(of_before * by_before) -
               2 * by_after.dot(between * by_before);
    }
};

Column chroma_slope(const Lab<D50>& c) {
    const double chroma = std::max(std::hypot(c.a, c.b), 1e-9);
    return {0, c.a / chroma, c.b / chroma};
}
// Degrees.
Column hue_slope(const Lab<D50>& c) {
    const double squared = std::max(c.a * c.a + c.b * c.b, 1e-12);
    return {0, -c.b / squared * degrees, c.a / squared * degrees};
}
bool has_hue(const Lab<D50>& c, const Square& covariance) {
    const Column slope = chroma_slope(c);
    return std::hypot(c.a, c.b) > 2 * two_sided_95 * std::sqrt(std::max(slope.dot(covariance * slope), 0.0)) + 0.5;
}

ColourShift shift_of(const Joint& j, const DifferenceDistribution& difference) {
    ColourShift out;
    const auto axis = [&](int k) { return j.variance(Column::Unit(k), Column::Unit(k)); };
    out.L = about(j.after.L - j.before.L, axis(0));
    out.a = about(j.after.a - j.before.a, axis(1));
    out.b = about(j.after.b - j.before.b, axis(2));
    const LCh<D50> from = to_lch(j.before), to = to_lch(j.after);
    out.C = about(to.C - from.C, j.variance(chroma_slope(j.before), chroma_slope(j.after)));
    if (has_hue(j.before, j.of_before) && has_hue(j.after, j.of_after)) {
        out.h = about(std::remainder(to.h - from.h, 360.0), j.variance(hue_slope(j.before), hue_slope(j.after)));
        if (out.h->high - out.h->low > 180) out.h.reset();
    }
    out.delta_e = {difference.expected(), difference.quantile(0.025), difference.quantile(0.975)};
    return out;
}

// What two readings err by in common.
Square between(const Reading& one, const Reading& other) {
    return 0.5 * (to_eigen(one.covariance) + to_eigen(other.covariance) - to_eigen(difference_covariance(one, other)));
}

struct Unwound {
    Reading spool;
    Square by_wrap;  // d Lab on the spool / d Lab of the dry wrap
};

Result<Unwound> unwound(Material material, double size_mm, const Reading& dry_wrap, const Reading& ground,
                        const std::optional<LayerOpacity>& opacity) {
    const Result<WrapSurfaces> wrap = wrap_surfaces(size_mm, dry_wrap, ground);
    if (!wrap) return wrap.error();
    if (opacity)
        if (const Status sound = validate(*opacity); !sound) return sound.error();
    const Surface& under = wrap->ground;
    // Thread that hides little tells little: then its colour is likely to be some such distance from the wrap's (a guess).
    constexpr double likely = 15;
    Column at = to_eigen(dry_wrap.lab);
    Square covariance = to_eigen(dry_wrap.covariance), by_wrap = Square::Identity();
    for (int round = 0; round < 6; ++round) {
        const Lab<D50> now{std::clamp(at(0), 0.0, 100.0), std::clamp(at(1), -150.0, 150.0), std::clamp(at(2), -150.0, 150.0)};
        const Surface dry = Surface::nearest({now, {}, {}});
        const Column left = to_eigen(dry_wrap.lab) - to_eigen(predicted_look(material, Schedule::none, size_mm, dry, under, opacity));
        const FinishedCovariance parts = predicted_covariance(material, Schedule::none, size_mm, dry, under, opacity);
        const Square slope = to_eigen(parts.by_dry);
        const Square noise = to_eigen(dry_wrap.covariance) + to_eigen(parts.rest) + 1e-6 * Square::Identity();
        const Square weighed = slope.transpose() * noise.inverse();
        covariance = (weighed * slope + Square::Identity() / (likely * likely)).inverse();
        by_wrap = covariance * weighed;
        at = to_eigen(now) + covariance * (weighed * left - (to_eigen(now) - to_eigen(dry_wrap.lab)) / (likely * likely));
    }
    Reading spool = dry_wrap;
    spool.lab = {std::clamp(at(0), 0.0, 100.0), std::clamp(at(1), -150.0, 150.0), std::clamp(at(2), -150.0, 150.0)};
    spool.covariance = from_eigen(covariance);
    spool.shared = {};
    return Unwound{spool, by_wrap};
}

}  // namespace

std::string_view name(CoatVerdict verdict) {
    switch (verdict) {
        case CoatVerdict::as_expected:
            return "as expected";
        case CoatVerdict::not_as_expected:
            return "not as expected";
        case CoatVerdict::cannot_tell:
            break;
    }
    return "can't tell";
}

ColourShift colour_shift(const Reading& before, const Reading& after) {
    return shift_of({before.lab, after.lab, to_eigen(before.covariance), to_eigen(after.covariance), between(after, before)},
                    DifferenceDistribution(before, after));
}

Result<Reading> spool_colour(Material material, double size_mm, const Reading& dry_wrap, const Reading& ground,
                             const std::optional<LayerOpacity>& opacity) {
    const Result<Unwound> out = unwound(material, size_mm, dry_wrap, ground, opacity);
    if (!out) return out.error();
    return out->spool;
}

Result<CoatTest> coat_test_of(const TestWrap& wrap) {
    if (const Status sound = validate(wrap.finished); !sound)
        return Error{sound.error().reason, sound.error().what, "finished", sound.error().mend};
    if (wrap.spread && *wrap.spread > most_even_spread)
        return Error{Reason::cannot_measure, "The finished wrap is uneven: its colour spreads by " + std::to_string(std::lround(*wrap.spread)) + " (CIELAB) within it.", "finished",
                     "It would teach a wrong coat. Strip and redo it, with more or thinner coats of preserver as its maker's sheet allows; or give the L,a,b of a clean part."};
    const Result<Reading> spool = spool_colour(wrap.material, wrap.size_mm, wrap.dry, wrap.ground, wrap.opacity);
    if (!spool) return spool.error();
    return CoatTest{wrap.material, wrap.schedule, wrap.size_mm, wrap.ground.lab, spool->lab, wrap.finished.lab,
                    wrap.ground.covariance, spool->covariance, wrap.finished.covariance, wrap.finish};
}

Result<CoatCheck> check_coat(const CoatModel& taught, const TestWrap& wrap, double tolerance) {
    if (wrap.schedule == Schedule::none)
        return Error{Reason::bad_value, "Schedule none puts no coat on, so there is nothing to check.", "schedule",
                     "Name what was put on: finish or preserver+finish."};
    if (!(tolerance > 0 && tolerance <= 100))
        return Error{Reason::bad_value, "The tolerance is outside 0..100.", "tolerance", "Give a CIEDE2000, for instance 2."};
    if (const Status sound = validate(wrap.finished); !sound)
        return Error{sound.error().reason, sound.error().what, "finished", sound.error().mend};
    const Result<Unwound> thread = unwound(wrap.material, wrap.size_mm, wrap.dry, wrap.ground, wrap.opacity);
    if (!thread) return thread.error();

    const CoatModel model = taught.with(wrap.finish);
    const Surface dry = Surface::nearest(thread->spool), ground = Surface::nearest(wrap.ground);
    const Lab<D50> look = model.predicted_look(wrap.material, wrap.schedule, wrap.size_mm, dry, ground, wrap.opacity);
    const FinishedCovariance parts = model.predicted_covariance(wrap.material, wrap.schedule, wrap.size_mm, dry, ground, wrap.opacity);
    // The dry wrap's error runs through the thread's colour into the expected look; what is left of the thread's covariance is the layer's.
    const Square of_dry = to_eigen(wrap.dry.covariance), by_wrap = to_eigen(parts.by_dry) * thread->by_wrap,
                 of_look = to_eigen(parts.from_dry) + to_eigen(parts.rest);

    CoatCheck out;
    out.coat_tests = model.tests(wrap.material, wrap.schedule);
    out.expected_look = {look, from_eigen(of_look), {}};
    out.measured = colour_shift(wrap.dry, wrap.finished);
    const Joint expected{wrap.dry.lab, look, of_dry, of_look, by_wrap * of_dry};
    const Square of_shift = of_dry + of_look - expected.between - expected.between.transpose();
    out.expected = shift_of(expected, DifferenceDistribution({wrap.dry.lab, {}, {}}, {look, from_eigen(of_shift), {}}));

    const Square in_common = between(wrap.finished, wrap.dry) * by_wrap.transpose();
    Matrix3 of_gap = from_eigen(to_eigen(wrap.finished.covariance) + of_look - in_common - in_common.transpose());
    if (!validate(Reading{look, of_gap, {}})) of_gap = wrap.finished.covariance + out.expected_look.covariance;
    const DifferenceDistribution gap({look, of_gap, {}}, {wrap.finished.lab, {}, {}});
    out.best_estimates_apart = gap.at_best_estimate();
    out.off = {gap.expected(), gap.quantile(0.025), gap.quantile(0.975)};
    out.limit = std::max(tolerance, 0.5 * out.expected.delta_e.value);
    out.leans = lean(look, wrap.finished.lab);
    const bool beyond = mahalanobis_squared(wrap.finished.lab, {look, of_gap, {}}) > region_95;
    if (out.off.high <= tolerance || (!beyond && out.off.high <= out.limit))
        out.verdict = CoatVerdict::as_expected;
    else
        out.verdict = beyond ? CoatVerdict::not_as_expected : CoatVerdict::cannot_tell;
    return out;
}

}  // namespace bindhue

// Did a coat do what was to be expected? A test wrap read dry and finished, its shift beside the one that the coat model expects.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "colour/coat_learning.hpp"

namespace bindhue {

// With its 95 % interval.
struct Estimate {
    double value = 0, low = 0, high = 0;
};

// What happened to a colour: after minus before.
struct ColourShift {
    Estimate L, a, b, C;
    std::optional<Estimate> h;  // degrees, within +-180; none where one of the two is too near grey to have a hue
    Estimate delta_e;           // CIEDE2000
};

// Between two readings; what readings of one camera, card and light share cancels (difference_covariance). Intervals of L, a, b, C and h to first
// order, that of CIEDE2000 as DifferenceDistribution has it.
ColourShift colour_shift(const Reading& before, const Reading& after);

// The colour of thread as on its spool (opaque) from that of one dry layer of it, wound over a ground: light thread over a dark ground reads
// darker than it is. By the prior's dry layer; its spread, and the ground's, are in the covariance. Errors: bad_value, as predict_finished.
// opacity: of the thread, if it is known.
Result<Reading> spool_colour(Material material, double size_mm, const Reading& dry_wrap, const Reading& ground,
                             const std::optional<LayerOpacity>& opacity = {});

// A wrap of one layer, read dry and then finished, over the ground as it looks bare.
struct TestWrap {
    Material material = Material::nylon;
    Schedule schedule = Schedule::finish;
    double size_mm = 0.15;
    Reading ground, dry, finished;
    std::optional<LayerOpacity> opacity;  // of the thread, if it is known
    FinishUse finish{};
    std::optional<double> spread;  // of the finished wrap's colour within it, CIELAB; none if nobody looked
    std::vector<std::string> warnings;  // of the readings it is from, in words
};

// More than an even band's colour spreads within it (CIELAB, exceeded by a tenth of its places): of rendered photos (seeds 700000 to 710035 and 830000 to
// 830529) 99 % of 666 even bands spread by less than 4.4, and no wrap by more than 4.5.
inline constexpr double most_even_spread = 5;

enum class CoatVerdict { as_expected, not_as_expected, cannot_tell };
std::string_view name(CoatVerdict verdict);  // "as expected", "not as expected", "can't tell"

struct CoatCheck {
    ColourShift measured, expected;
    Reading expected_look;       // of the finished wrap; by this dry reading and the coat model
    std::size_t coat_tests = 0;  // that the expectation rests on; none: the prior
    // CIEDE2000 of the finished wrap from the expected look, with the errors of both readings and of the expectation: its expectation and interval. What both
    // err by keeps them apart even where the best estimates agree.
    Estimate off;
    double best_estimates_apart = 0;
    double limit = 0;            // of `off`, for a coat that is as expected
    CoatVerdict verdict = CoatVerdict::cannot_tell;
    std::string leans;  // which way the finished wrap leans from what was expected, in words
};

// as_expected: `off` is below the limit for certain (97.5 %), and not beyond what readings and expectation err by (chi squared, 95 %) unless it is
// within the tolerance anyway. The limit is half of the expected shift, so that a coat that did nothing would not pass, and at least the
// tolerance. not_as_expected: beyond what they err by. cannot_tell: neither; a coat that is off by more than the limit would look the same.
// Errors: bad_value (a reading, the size, schedule none, the tolerance), with the field.
Result<CoatCheck> check_coat(const CoatModel& model, const TestWrap& wrap, double tolerance = 2.0);

// As a test to learn from. Errors: bad_value (a reading), cannot_measure (an uneven wrap).
Result<CoatTest> coat_test_of(const TestWrap& wrap);

}  // namespace bindhue

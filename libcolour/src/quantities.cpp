#include "colour/quantities.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace bindhue {
namespace {

constexpr double end_m = 0.4, least_batch_ml = 4, batch_step_ml = 1;

}  // namespace

Status validate(const Winding& w) {
    const auto fault = [](const char* what, const char* where, const char* mend) -> Status {
        return Error{Reason::bad_value, what, where, mend};
    };
    if (!(w.width_mm > 0 && w.width_mm <= 2000))
        return fault("The width is outside 0..2000 mm.", "width_mm", "Give the wrap's width along the rod.");
    if (!(w.diameter_mm > 0 && w.diameter_mm <= 200))
        return fault("The diameter is outside 0..200 mm.", "diameter_mm", "Give the blank's diameter there.");
    if (!(w.pitch_mm >= 0.02 && w.pitch_mm <= 5))
        return fault("The pitch is outside 0.02..5 mm.", "pitch_mm", "Count turns over a centimetre: 10 / turns.");
    if (!(w.thread_mm >= 0.05 && w.thread_mm <= 1))
        return fault("The thread's diameter is outside 0.05..1 mm.", "thread_mm", "Give it in millimetres.");
    if (!(w.underwrap_mm >= 0 && w.underwrap_mm <= 1))
        return fault("The underwrap's thread is outside 0..1 mm.", "underwrap_mm", "Give 0 if there is none.");
    if (w.layers < 1 || w.layers > 4)
        return fault("The number of layers is outside 1..4.", "layers", "A plain wrap has 1, a double one 2.");
    return ok();
}

double turns(const Winding& w) { return w.width_mm / w.pitch_mm; }

double wound_metres(const Winding& w) {
    double mm = 0;
    for (int layer = 0; layer < w.layers; ++layer) {
        const double middle = w.diameter_mm + 2 * w.underwrap_mm + (2 * layer + 1) * w.thread_mm;
        mm += turns(w) * std::hypot(std::numbers::pi * middle, w.pitch_mm);
    }
    return mm / 1000;
}

double end_metres(const Winding& w) { return 2 * end_m * w.layers; }

double film_ml(const Winding& w, double film_mm) {
    const double outside = w.diameter_mm + 2 * w.underwrap_mm + 2 * w.layers * w.thread_mm;
    return std::numbers::pi * outside * w.width_mm * film_mm / 1000;
}

double batch_ml(double needed_ml) {
    return std::max(least_batch_ml, batch_step_ml * std::ceil(needed_ml / batch_step_ml));
}

double metres_by_weight(double grams, double tex) { return 1000 * grams / tex; }

}  // namespace bindhue

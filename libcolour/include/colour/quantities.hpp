// What a wrap takes: thread by the turn, finish by volume.
//
// Geometry is exact for round blanks and thread; allowances and film are marked common practice: habits of the
// bench, no measured values. Lengths in millimetres unless named otherwise.
#pragma once

#include "colour/result.hpp"

namespace bindhue {

// One run of thread of one colour.
struct Winding {
    double width_mm = 0;       // along the rod, over 0 to 2000
    double diameter_mm = 0;    // of the blank, over 0 to 200
    double pitch_mm = 0.15;    // from turn to turn, 0.02 to 5: read it from the wrap, the size letter is a label
    double thread_mm = 0.15;   // diameter of the thread, 0.05 to 1
    double underwrap_mm = 0;   // diameter of the thread of a layer beneath, 0 if there is none, to 1
    int layers = 1;            // 1 to 4, one on the other
};

// Error: bad_value; `where` names the field.
Status validate(const Winding& winding);

// The rest: precondition validate(). Of one layer.
double turns(const Winding& winding);  // width / pitch

// Of all layers, on the helix along the middle of the thread; without ends (geometry):
// turns sqrt((pi (D + d))^2 + pitch^2), where D grows by two thread diameters with each layer beneath.
double wound_metres(const Winding& winding);

// Ends held while winding and pulled through: two of 400 mm a layer (common practice: 300 to 500 each).
double end_metres(const Winding& winding);

// A redo in ten, and test wraps (common practice: 15 to 20 % for a whole rod, 25 to 40 % for one guide).
inline constexpr double whole_rod_waste = 0.2, one_guide_waste = 0.35;

// Of one coat over the wound thread, of the given thickness (geometry): pi D W t, where D is outside the thread.
// Common practice: a coat leaves 0.1 to 0.2 mm.
double film_ml(const Winding& winding, double film_mm);
inline constexpr double usual_film_mm = 0.15;

// The least mix of two equal parts that measures well (common practice: 4 ml), or what is needed, up to the next
// half millilitre of each part.
double batch_ml(double needed_ml);

// Grams of thread without its spool by tex, which is grams per kilometre (geometry).
double metres_by_weight(double grams, double tex);

}  // namespace bindhue

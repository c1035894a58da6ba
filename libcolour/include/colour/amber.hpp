// What an aged, amber finish does to the colour beneath it, and the colour as it was when the finish was new.
//
// The finish is a smooth film that absorbs (colour/layer.hpp, TintedFilm), over what it touches and, on a share of the surface, over air. Its
// absorption falls off exponentially toward long waves: depth_440 exp(-(wavelength - 440 nm) / tail_nm). The spectrum of the colour as new is
// the smoothest that looks as was read when seen through the film. No published rate or spectrum of amber for rod finish is known: the tail's
// length and its spread are guesses, meant to take in resins, oil varnish and lacquers.
//
// Not undone: fading of the thread, dirt, chalking or scratches of the finish.
#pragma once

#include "colour/coating.hpp"
#include "colour/reading.hpp"
#include "colour/result.hpp"

namespace bindhue {

// Strength of the amber, and how well it is known.
struct Amber {
    double depth_440 = 0;  // natural absorbance at 440 nm of the film, crossed once, square on; 0..3
    double tail_nm = 55;
    double depth_sd = 0;         // standard deviations of the depth, and of the logarithm of the tail
    double tail_log_sd = 0.5;   // (a guess, before anything is read)
    double correlation = 0;      // of the two

    double transmittance() const;     // internal, at 440 nm: 1 clear, 0.5 strong
    double transmittance_sd() const;  // to first order
};

// Of an internal transmittance at 440 nm and its standard deviation. Errors: bad_value (transmittance outside 0.05..1, deviation outside 0..0.5).
Result<Amber> amber_of(double transmittance_440, double sd);

// Read from a place whose own colour is known: a white mark, or the blank, bare and under the finish. bare: without finish (beside it, or where it
// is scraped off); finished: the same under the old finish. Whether the bare surface is smooth or matte is not known and found along with it
// (coated_ground). Errors: bad_value (a reading), cannot_measure: they differ as no amber film makes them, or the place is too dark to tell.
Result<Amber> amber_over(const Reading& bare, const Reading& finished);

// Share of a wrap that its finish touches, the rest being film over air: nearly all of soaked thread, a tenth to a third under preserver, a third to a half of thread
// made to need none (colour/coating.hpp). Which an old wrap is nobody tells, so the middle.
inline constexpr double usual_finish_contact = 0.5;

// How a colour under a new, clear finish looks when that finish has gone amber; a mark is touched all over: contact 1.
Lab<D50> ambered_look(const Surface& as_new, const Amber& amber, double contact = usual_finish_contact);

// How what is read under an amber finish looked when the finish was clear. The covariance holds the reading's error carried through, that of the
// amber, how much of the film touches what is beneath, and what the model leaves out. What the reading shared with others of its kind is not
// known any more. Errors: bad_value (the reading), cannot_measure (no plain surface looks so under amber of this strength).
Result<Reading> as_new(const Reading& aged, const Amber& amber);

}  // namespace bindhue

// The colours that real surfaces take, and an even sample of them: what a wrap might ask of a rack.
//
// Source: Pointer, "The gamut of real surface colours", Color Res. Appl. 5 (1980) 145-155: the highest CIELAB
// chroma seen at each lightness and hue among 4089 measured samples of paints, inks, plastics and textiles
// under illuminant C, 2-degree observer. Dyed thread alone reaches less, so no rack serves all of it.
#pragma once

#include <vector>

#include "colour/spaces.hpp"

namespace bindhue {

// CIE 15, 2-degree observer.
struct IlluminantC {
    static constexpr double X = 0.98074, Y = 1.0, Z = 1.18232;
    static constexpr const char* name = "C";
};

// The published table, linear between its points (every 5 in L from 15 to 90, every 10 degrees); below L 15
// and above 90, where there are no data, a straight line to black and white. 0 <= L <= 100, any hue.
double highest_surface_chroma(double L, double hue_degrees);

// Whether the colour, adapted to illuminant C (Bradford), is inside.
bool is_surface_colour(const Lab<D50>& colour);

// Chroma as a share of the highest that is known there, adapted so. 0 below L 30, where few surfaces were measured, and below chroma 30, where whites and greys vary.
double vividness(const Lab<D50>& colour);

// Surface colours of L 10 to 95 on a grid whose neighbours are about `step` apart by CIEDE2000, so that
// each stands for about as many colours as the eye can tell apart: the number within 3 steps of a colour that lies inside varies
// by less than a factor of 1.7 (5th to 95th percentile). Always the same ones. Precondition: step >= 0.5.
std::vector<Lab<D50>> surface_colours(double step);

}  // namespace bindhue

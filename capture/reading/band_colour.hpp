// A band's response made a reading: its colour, and every part of its doubt.
#pragma once

#include "colour/camera_fit.hpp"
#include "photo/photo.hpp"
#include "reading/reading.hpp"
#include "wrap/body.hpp"

namespace bindhue::capture {

// Sets colour and covariance_of; what the pixels of an encoded file add is among it. `taken_off`: as CameraFit::read has it.
void set_colour(BandReading& band, const Photo& photo, const CameraFit& fit, const CameraRgb& linear, const ResponseParts& covariance, const Vector3& taken_off);

// Metallic thread's looks, and a warning of them. Precondition: body.looks.
void add_looks(BandReading& band, const Photo& photo, const CameraFit& fit, const BodyColour& body);

// Where the file's scale ends, or no plain surface is so vivid. Precondition: its colour is set.
void warn_of_its_colour(BandReading& band, const CameraFit& fit, const CameraRgb& linear, const Vector3& taken_off);

// Relative error of a band's light where a phone has not treated all places alike; 0 where it has.
double local_tone(const CameraFit& fit);

}  // namespace bindhue::capture

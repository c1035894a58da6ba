// What the other files do wrongly, done rightly.
#include "colour/adaptation.hpp"
#include "colour/difference.hpp"
#include "colour/smoothest.hpp"

using namespace bindhue;

double compare_in_one_white(const Lab<D50>& a, const Lab<D65>& b) {
    return ciede2000(a, to_lab(adapt<D50>(to_xyz(b))));
}
Lab<D50> camera_by_a_fit(const Matrix3& fit, const CameraRgb& c) {
    return to_lab(XYZ<D50>::from(fit * c.vector()));
}
XYZ<D65> linear_first(const EncodedSrgb& c) { return to_xyz(to_linear(c)); }
double error_looked_at(const XYZ<D50>& c) {
    const Result<Spectrum> r = smoothest_reflectance(c);
    return r ? (*r)[0] : -1.0;
}
Lab<D50> chroma_to_lab(const LCh<D50>& c) { return to_lab(c); }

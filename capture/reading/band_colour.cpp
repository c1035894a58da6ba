#include "reading/band_colour.hpp"

#include "colour/fluorescence.hpp"

namespace bindhue::capture {
namespace {

// A phone's sharpening, chroma subsampling and local curves reach bands on a rod more than flat patches; how much was found on rendered
// phone photos (seeds 505000 to 535011, see tests/accuracy), as a factor on the variance.
constexpr double encoded_variance = 1.25;

// Prints of one ink that read further apart than this, relative, were not treated alike (CameraFit::prints_disagree): phones that work on
// all places alike reached 0.014 on rendered photos, those that even out bright and dark had 0.03 at least (seeds 530000 to 530019).
// How much further off a rod may then be, which lies over the dark opening: chosen so that the regions held on those.
constexpr double prints_alike = 0.02, local_tone_reach = 3.5;

}  // namespace

void warn_of_its_colour(BandReading& band, const CameraFit& fit, const CameraRgb& linear, const Vector3& taken_off) {
    const std::array<bool, 3> at_end = fit.at_end_of_scale(linear, taken_off);
    if (at_end[0] || at_end[1] || at_end[2])
        band.warnings.push_back("a channel is clipped: the colour may be more vivid than this photo can show");
    if (!band.looks && may_glow(band.colour.lab))
        band.warnings.push_back("as vivid as few plain surfaces are, or more: if its dye glows by day (fluorescent), its colour goes with the light. Judge it by eye, in daylight");
}

void add_looks(BandReading& band, const Photo& photo, const CameraFit& fit, const BodyColour& body) {
    set_colour(band, photo, fit, body.looks->face, body.looks_covariance, body.taken_off);
    const Reading face = band.colour;
    set_colour(band, photo, fit, body.looks->flop, body.looks_covariance, body.taken_off);
    band.looks = LooksReading{face, band.colour};
    band.warnings.push_back(in_words(*band.looks));
}

double local_tone(const CameraFit& fit) {
    return fit.prints_disagree > prints_alike ? local_tone_reach * fit.prints_disagree : 0.0;
}

void set_colour(BandReading& band, const Photo& photo, const CameraFit& fit, const CameraRgb& linear,
                const ResponseParts& covariance, const Vector3& taken_off) {
    const double widened = photo.linear ? 1.0 : encoded_variance;
    const double off = local_tone(fit);
    const Matrix3 tone = (off * off) * outer(linear.vector());
    band.colour = fit.read(linear, covariance.sum() + tone, taken_off);
    band.colour.covariance = widened * band.colour.covariance;
    band.colour.shared = widened * band.colour.shared;
    const CovarianceParts rest = fit.covariance_parts(linear, {}, taken_off);
    const Matrix3 slope = fit.lab_by_response(linear, taken_off);
    const auto of = [&](const Matrix3& part) { return widened * (slope * part * transpose(slope)); };
    const Matrix3 glow = outer(doubt_of_glow(band.colour.lab));
    band.colour.covariance = band.colour.covariance + glow;
    band.colour.shared = band.colour.shared + glow;  // one light makes it glow alike each time
    band.covariance_of = {of(covariance.pixels), of(covariance.shading), of(covariance.mirrored),
                          widened * rest.response, widened * rest.fit, widened * rest.card, widened * rest.field, of(tone), glow};
}

}  // namespace bindhue::capture

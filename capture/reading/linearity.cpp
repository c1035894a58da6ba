#include "reading/linearity.hpp"

#include "colour/grey_exponent.hpp"

namespace bindhue::capture {

Result<bool> holds_linear(const Photo& photo, const CardView& view) {
    const std::optional<double> exponent = grey_exponent(view.patches);
    if (!exponent) return photo.linear;
    if (!photo.linear) return photo.bgr.depth() != CV_8U && *exponent > least_linear_exponent;
    if (*exponent < most_curved_exponent)
        return Error{Reason::cannot_measure, "the photo was said to hold linear values, but the card's grey steps follow a tone curve", photo.source,
                     "read it without --linear (or save it without a profile that says so), or develop the raw file without a curve"};
    return true;
}

}  // namespace bindhue::capture

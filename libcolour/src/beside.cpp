#include "colour/beside.hpp"

namespace bindhue {

std::string_view name(Visible visible) {
    return visible == Visible::no ? "not visible" : visible == Visible::yes ? "visible" : "can't tell";
}

Result<BesideCheck> check_beside(std::span<const Beside> seen, double tolerance) {
    if (!(tolerance > 0 && tolerance <= 100))
        return Error{Reason::bad_value, "The tolerance is outside 0..100.", "tolerance", "Give a CIEDE2000, for instance 2."};
    if (seen.empty()) return Error{Reason::too_few, "There is nothing to compare.", "", "Give a photo of the old wrap beside the new one."};
    BesideCheck out;
    for (const Beside& pair : seen) {
        for (const auto& [reading, which] : {std::pair{&pair.old_wrap, "old wrap"}, std::pair{&pair.new_wrap, "new wrap"}})
            if (const Status sound = validate(*reading); !sound) return Error{sound.error().reason, sound.error().what, which, sound.error().mend};
        BesideDifference one{colour_shift(pair.old_wrap, pair.new_wrap), lean(pair.old_wrap.lab, pair.new_wrap.lab), Visible::cannot_tell};
        const Estimate& off = one.shift.delta_e;
        if (off.high <= tolerance) one.visible = Visible::no;
        // Errors alone never give a difference of none: that it is one at all must be beyond chance first.
        const Reading none{pair.old_wrap.lab, difference_covariance(pair.old_wrap, pair.new_wrap), {}};
        if (mahalanobis_squared(pair.new_wrap.lab, none) > region_95 && off.low > tolerance) one.visible = Visible::yes;
        out.differences.push_back(std::move(one));
    }
    // The light that shows it most, and the one that hides it best.
    std::size_t least = 0, most = 0;
    for (std::size_t i = 0; i < seen.size(); ++i) {
        if (out.differences[i].shift.delta_e.value < out.differences[least].shift.delta_e.value) least = i;
        if (out.differences[most].visible != Visible::yes ||
            (out.differences[i].visible == Visible::yes && out.differences[i].shift.delta_e.low > out.differences[most].shift.delta_e.low))
            most = i;
    }
    if (out.differences[least].shift.delta_e.value <= tolerance && out.differences[most].visible == Visible::yes) out.hidden = BesideCheck::Hidden{least, most};
    return out;
}

}  // namespace bindhue

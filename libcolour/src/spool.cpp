#include "colour/spool.hpp"

#include <algorithm>
#include <cmath>
#include <string_view>
#include <unordered_set>

namespace bindhue {
namespace {

double spread(const Reading& reading) {
    return reading.covariance(0, 0) + reading.covariance(1, 1) + reading.covariance(2, 2);
}

}  // namespace

const Reading& Spool::reading_for(const ReadingContext& context) const {
    // An unlike kind only if there is no like one, then the smaller uncertainty.
    return *std::min_element(readings.begin(), readings.end(), [&](const Reading& x, const Reading& y) {
        const bool x_alike = x.context.same_kind(context), y_alike = y.context.same_kind(context);
        return x_alike != y_alike ? x_alike : spread(x) < spread(y);
    });
}

Status validate(const Palette& palette) {
    std::unordered_set<std::string_view> codes;
    for (std::size_t i = 0; i < palette.size(); ++i) {
        const Spool& spool = palette[i];
        const std::string where =
            spool.code.empty() ? "spool number " + std::to_string(i + 1) : "spool " + spool.code;
        const auto fault = [&](const std::string& what, const std::string& mend) -> Status {
            return Error{Reason::bad_value, what, where, mend};
        };
        if (spool.code.empty()) return fault("A spool has no code.", "Give each spool a code of its own.");
        if (!codes.insert(spool.code).second)
            return fault("Two spools have the same code.",
                         "Another lot, material or size is another spool: give it another code.");
        if (!(spool.size_mm >= min_thread_mm && spool.size_mm <= max_thread_mm))
            return fault("The thread diameter is outside 0.05..1 mm.", "Give the diameter in millimetres.");
        if (spool.readings.empty())
            return fault("The spool has no reading.", "Read its dry colour from a photo or an instrument.");
        for (const Reading& reading : spool.readings)
            if (const Status status = validate(reading); !status)
                return fault(status.error().what, status.error().mend);
    }
    return ok();
}

}  // namespace bindhue

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

// Readings of one kind as one.
Reading together(const std::vector<Reading>& alike) {
    Reading out = combine(alike);
    // Each of n readings of one thing is apart from their mean by what they do not share, less its own part of the mean: over all that makes
    // a chi squared of 3 (n - 1) degrees of freedom.
    double apart = 0;
    for (const Reading& reading : alike) {
        Reading own;
        own.lab = reading.lab;
        for (std::size_t i = 0; i < own.covariance.m.size(); ++i) own.covariance.m[i] = reading.covariance.m[i] - reading.shared.m[i];
        apart += mahalanobis_squared(out.lab, own);
    }
    if (const double ratio = apart / (3.0 * static_cast<double>(alike.size() - 1)); ratio > 1)
        out.covariance = ratio * out.covariance + (1 - ratio) * out.shared;
    return out;
}

}  // namespace

Reading Spool::reading_for(const ReadingContext& context) const {
    if (readings.size() == 1) return readings.front();
    // Combining compares each reading with each: of very many of one kind the newest say enough.
    constexpr std::size_t most = 100;
    std::vector<std::vector<Reading>> kinds;
    for (auto reading = readings.rbegin(); reading != readings.rend(); ++reading) {
        const auto kind = std::find_if(kinds.begin(), kinds.end(), [&](const std::vector<Reading>& k) {
            return k.front().context.same_kind(reading->context);
        });
        if (kind == kinds.end())
            kinds.push_back({*reading});
        else if (kind->size() < most)
            kind->push_back(*reading);
    }
    std::vector<Reading> best;
    for (const std::vector<Reading>& kind : kinds) best.push_back(kind.size() == 1 ? kind.front() : together(kind));
    return *std::min_element(best.begin(), best.end(), [&](const Reading& x, const Reading& y) {
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
        if (spool.opacity)
            if (const Status status = validate(*spool.opacity); !status) return fault(status.error().what, status.error().mend);
        if (spool.readings.empty())
            return fault("The spool has no reading.", "Read its dry colour from a photo or an instrument.");
        for (const Reading& reading : spool.readings)
            if (const Status status = validate(reading); !status)
                return fault(status.error().what, status.error().mend);
    }
    return ok();
}

}  // namespace bindhue

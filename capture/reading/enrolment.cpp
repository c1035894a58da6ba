#include "reading/enrolment.hpp"

#include <iomanip>
#include <sstream>

#include "reading/reading_json.hpp"

namespace bindhue::capture {

std::vector<ToEnrol> to_enrol(const WrapReading& reading, const std::vector<BandOfSpool>& of, const std::string& source, const std::string& date) {
    std::vector<ToEnrol> out;
    for (const auto& [band, code] : of) out.push_back({code, {reading.bands[band].colour, {source, date, ""}}});
    return out;
}

nlohmann::ordered_json to_json(const WrapReading& reading, const std::vector<BandOfSpool>& of, const Enrolment& enrolment) {
    using nlohmann::ordered_json;
    ordered_json spools = ordered_json::array();
    for (std::size_t i = 0; i < of.size(); ++i) {
        const Enrolled& one = enrolment.spools[i];
        const BandReading& band = reading.bands[of[i].band];
        ordered_json drift = nullptr;
        if (one.drift)
            drift = {{"delta_e", one.drift->delta_e},
                     {"interval", {one.drift->interval_low, one.drift->interval_high}},
                     {"beyond_chance", one.drift->beyond_chance},
                     {"same_kind", one.drift->same_kind},
                     {"leans", one.drift->leans},
                     {"since", one.since}};
        spools.push_back({{"code", of[i].code},
                          {"band", of[i].band + 1},
                          {"start_mm", band.start_mm},
                          {"length_mm", band.length_mm},
                          {"new", one.fresh},
                          {"known", one.known},
                          {"lab", to_json(band.colour.lab)},
                          {"covariance", to_json(band.colour.covariance)},
                          {"camera", band.colour.context.camera},
                          {"card", band.colour.context.card},
                          {"light", band.colour.context.light},
                          {"drift", std::move(drift)},
                          {"warnings", band.warnings}});
    }
    return {{"format", "bindhue-spool-enrol"}, {"version", 1},
            {"photo", reading.photo},          {"kept", enrolment.kept},
            {"drift_alike", enrolment.alike},  {"spools", std::move(spools)},
            {"warnings", reading.warnings}};
}

Error drift_refusal(const std::vector<BandOfSpool>& of, const Enrolment& enrolment, std::string_view insist) {
    std::ostringstream who;
    who << std::fixed << std::setprecision(1);
    for (std::size_t i = 0; i < of.size(); ++i) {
        const std::optional<Drift>& drift = enrolment.spools[i].drift;
        if (!drift || !drift->beyond_chance) continue;
        who << (who.tellp() == 0 ? "" : ", ") << of[i].code << " by " << drift->delta_e << " CIEDE2000";
        if (!drift->leans.empty()) who << " (" << drift->leans << ")";
    }
    std::string mend =
        enrolment.alike
            ? "they drift the same way, so look at what they share first: a tired or soiled card, another light, a glare. Read again with "
              "a fresh card in even light. If the threads themselves have faded or been soiled, "
            : "compare the labels: another dye lot is another spool, give it a code of its own. Wind off the outer turns and read "
              "again: they fade and soil first. Read a spool that you know: if it drifts too, the card is tired or the light another. If "
              "the thread itself has changed, ";
    mend.append(insist).append(enrolment.alike ? "" : ": its earlier readings are then set aside");
    return {Reason::cannot_measure, "drift beyond chance, and nothing was kept: " + who.str(), "", std::move(mend)};
}

}  // namespace bindhue::capture

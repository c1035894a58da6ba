#include "reading/reading_json.hpp"

#include "colour/thread_size.hpp"

namespace bindhue::capture {

nlohmann::ordered_json to_json(const Lab<D50>& lab) { return {lab.L, lab.a, lab.b}; }

nlohmann::ordered_json to_json(const Matrix3& m) {
    return {{m(0, 0), m(0, 1), m(0, 2)}, {m(1, 0), m(1, 1), m(1, 2)}, {m(2, 0), m(2, 1), m(2, 2)}};
}

namespace {

nlohmann::ordered_json points_json(const std::vector<PixelPoint>& outline) {
    nlohmann::ordered_json out = nlohmann::ordered_json::array();
    for (const PixelPoint& p : outline) out.push_back({p.x_px, p.y_px});
    return out;
}

nlohmann::ordered_json light_json(const LightEstimate& light) {
    return {{"kind", light.kind},
            {"name", light.name},
            {"share", light.share},
            {"grade", name(light.grade)},
            {"forecast_error", {{"median", light.forecast_median}, {"p95", light.forecast_p95}}}};
}

nlohmann::ordered_json parts_json(const NamedCovariance& of) {
    return {{"pixels", to_json(of.pixels)}, {"shading", to_json(of.shading)}, {"mirrored", to_json(of.mirrored)},
            {"end_of_scale", to_json(of.end_of_scale)}, {"fit", to_json(of.fit)}, {"card", to_json(of.card)},
            {"field", to_json(of.field)}, {"local_tone", to_json(of.local_tone)}, {"glow", to_json(of.glow)}};
}

nlohmann::ordered_json card_json(const CardReport& card) {
    nlohmann::ordered_json out{{"layout", card.layout}, {"trust", name(card.trust)}};
    if (card.check_median >= 0) {
        out["check_error"] = {{"median", card.check_median}, {"max", card.check_max}};
    } else {
        out["check_error"] = nullptr;
    }
    out["held_out_error"] = {{"median", card.held_out_median}, {"p95", card.held_out_p95}};
    out["colour_model"] = card.colour_model;
    out["light"] = card.light ? light_json(*card.light) : nlohmann::ordered_json(nullptr);
    out["prints_disagree"] = card.prints_disagree >= 0 ? nlohmann::ordered_json(card.prints_disagree) : nlohmann::ordered_json(nullptr);
    out["veil"] = {card.veil[0], card.veil[1], card.veil[2]};
    out["px_per_mm"] = card.px_per_mm;
    out["tilt_degrees"] = card.tilt_deg;
    out["dropped"] = card.dropped;
    out["outline_px"] = points_json(card.outline);
    out["opening_px"] = points_json(card.opening);
    return out;
}

nlohmann::ordered_json strands_json(const std::vector<StrandReading>& strands) {
    nlohmann::ordered_json out = nlohmann::ordered_json::array();
    for (const StrandReading& s : strands)
        out.push_back({{"share", s.share}, {"lab", to_json(s.colour.lab)}, {"covariance", to_json(s.colour.covariance)}});
    return out;
}

nlohmann::ordered_json looks_json(const std::optional<LooksReading>& looks) {
    if (!looks) return nullptr;
    const auto one = [](const Reading& r) { return nlohmann::ordered_json{{"lab", to_json(r.lab)}, {"covariance", to_json(r.covariance)}}; };
    return {{"face", one(looks->face)}, {"flop", one(looks->flop)}};
}

}  // namespace

nlohmann::ordered_json to_json(const WrapReading& reading) {
    nlohmann::ordered_json bands = nlohmann::ordered_json::array();
    for (const BandReading& band : reading.bands) {
        bands.push_back({{"start_mm", band.start_mm},
                         {"length_mm", band.length_mm},
                         {"role", name(band.role)},
                         {"lab", to_json(band.colour.lab)},
                         {"covariance", to_json(band.colour.covariance)},
                         {"shared_covariance", to_json(band.colour.shared)},
                         {"covariance_parts", band.covariance_of ? parts_json(*band.covariance_of) : nlohmann::ordered_json(nullptr)},
                         {"photos", band.photos},
                         {"pitch_mm", band.pitch_mm ? nlohmann::ordered_json(*band.pitch_mm) : nullptr},
                         {"sizes", band.pitch_mm ? likely_sizes(*band.pitch_mm) : std::vector<std::string_view>{}},
                         {"spread", band.spread ? nlohmann::ordered_json(*band.spread) : nullptr},
                         {"colours", strands_json(band.strands)},
                         {"metallic", looks_json(band.looks)},
                         {"warnings", band.warnings},
                         {"outline_px", points_json(band.outline)}});
    }
    nlohmann::ordered_json out{{"format", "bindhue-reading"},
                               {"version", 1},
                               {"photo", reading.photo},
                               {"colour", "CIELAB, D50, 2 degree"}};
    if (!reading.photos.empty()) out["photos"] = reading.photos;
    out["bands"] = std::move(bands);
    out["blank_diameter_mm"] =
        reading.blank_diameter_mm ? nlohmann::ordered_json(*reading.blank_diameter_mm) : nullptr;
    out["card"] = card_json(reading.card);
    out["warnings"] = reading.warnings;
    return out;
}

nlohmann::ordered_json to_json(const Candidate& candidate, const Palette& rack,
                               const std::vector<Ground>& grounds) {
    const Spool& spool = rack[candidate.spool];
    return {{"spool", spool.code},
            {"name", spool.name},
            {"material", name(spool.material)},
            {"size", spool.size},
            {"schedule", name(candidate.schedule)},
            {"ground", grounds[candidate.ground].label},
            {"predicted_lab", to_json(candidate.predicted.lab)},
            {"covariance", to_json(candidate.predicted.covariance)},
            {"delta_e_at_best", candidate.delta_e_at_best},
            {"delta_e", candidate.delta_e},
            {"interval", {candidate.interval_low, candidate.interval_high}},
            {"pass_chance", candidate.pass_chance},
            {"leans", candidate.leans},
            {"steps", candidate.steps},
            {"coat_tests", candidate.coat_tests},
            {"same_kind", candidate.same_kind},
            {"notes", candidate.notes}};
}

}  // namespace bindhue::capture

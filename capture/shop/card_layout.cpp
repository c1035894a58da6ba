#include "shop/card_layout.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdlib>
#include <utility>

#include "colour/reading.hpp"
#include "shop/atomic_file.hpp"
#include "shop/colour_json.hpp"
#include "shop/formats.hpp"

namespace bindhue::capture {

extern const char* const bench_card_json;  // made of calibration/card.json when building

namespace {

constexpr std::string_view colour_space = "CIELAB, D50, 2 degree";
constexpr double touching_mm = 1e-3;

// A visiting card is 55 mm high, a large sheet 1 m: beyond this it is a mistake in the units.
constexpr double smallest_card_mm = 20, largest_card_mm = 1000;
// Below this too few pixels remain within the edge.
constexpr double smallest_patch_mm = 1;
constexpr std::size_t most_patches = 2000, fewest_fit_patches = 8;

constexpr std::array roles{std::pair{PatchRole::grey, std::string_view("grey")},
                           std::pair{PatchRole::colour, std::string_view("colour")},
                           std::pair{PatchRole::check, std::string_view("check")},
                           std::pair{PatchRole::trap, std::string_view("trap")}};
constexpr std::array trusts{std::pair{Trust::nominal, std::string_view("nominal")},
                            std::pair{Trust::assigned, std::string_view("assigned")},
                            std::pair{Trust::measured, std::string_view("measured")}};

template <class Value, std::size_t n>
std::string_view name_in(const std::array<std::pair<Value, std::string_view>, n>& names, Value value) {
    for (const auto& [v, text] : names)
        if (v == value) return text;
    return {};
}

template <class Value, std::size_t n>
bool parse_in(const std::array<std::pair<Value, std::string_view>, n>& names, std::string_view text,
              Value& value) {
    for (const auto& [v, t] : names)
        if (t == text) {
            value = v;
            return true;
        }
    return false;
}

CardRect read_rect(const JsonCursor& at, double smallest_mm) {
    at.size(4, 4);
    return {at[0].number(-largest_card_mm, largest_card_mm), at[1].number(-largest_card_mm, largest_card_mm),
            at[2].number(smallest_mm, largest_card_mm), at[3].number(smallest_mm, largest_card_mm)};
}

std::string read_name(const JsonCursor& at) {
    std::string text = at.text();
    if (text.empty()) at.fail(Reason::bad_value, "The text is empty.", "Give it a name.");
    return text;
}

TabulatedReflectance read_spectrum(const JsonCursor& at) {
    TabulatedReflectance out{at["start_nm"].number(200, 400), at["step_nm"].number(0.1, 20), {}};
    const JsonCursor values = at["values"];
    const std::size_t n = values.size(15, 10'000);
    for (std::size_t i = 0; i < n; ++i) out.values.push_back(values[i].number(0, 2));
    if (!at.failed() && out.first_nm + out.step_nm * static_cast<double>(n - 1) < 700)
        values.fail(Reason::too_few, "The spectrum ends before 700 nm.",
                    "Give values from 400 nm or less to 700 nm or more.");
    return out;
}

CardPatch read_patch(const JsonCursor& at) {
    CardPatch patch;
    patch.id = read_name(at["id"]);
    const JsonCursor role = at["role"];
    if (!parse_patch_role(role.text(), patch.role))
        role.fail(Reason::bad_value, "This role is not known.", "Write grey, colour, check or trap.");
    patch.rect = read_rect(at["rect_mm"], smallest_patch_mm);
    patch.lab = lab_at(at["lab"]);
    if (const auto covariance = at.find("covariance")) {
        patch.covariance = matrix_at(*covariance);
        if (!at.failed()) covariance->check(validate(Reading{patch.lab, *patch.covariance, {}}));
    }
    if (const auto spectrum = at.find("spectrum")) patch.spectrum = read_spectrum(*spectrum);
    patch.unknown = at.unknown({"id", "role", "rect_mm", "lab", "covariance", "spectrum"});
    return patch;
}

// The fields of a provenance, which are all texts.
constexpr std::array provenance_fields{std::pair{"file", &CardProvenance::file},
                                       std::pair{"date", &CardProvenance::date},
                                       std::pair{"created", &CardProvenance::created},
                                       std::pair{"instrument", &CardProvenance::instrument},
                                       std::pair{"descriptor", &CardProvenance::descriptor},
                                       std::pair{"colours", &CardProvenance::colours},
                                       std::pair{"target", &CardProvenance::target}};

CardProvenance read_provenance(const JsonCursor& at) {
    CardProvenance out;
    for (const auto& [field, text] : provenance_fields) out.*text = at.text_or_empty(field);
    out.unknown = at.unknown({"file", "date", "created", "instrument", "descriptor", "colours", "target"});
    return out;
}

Json provenance_json(const CardProvenance& from) {
    Json out = Json::object();
    for (const auto& [field, text] : provenance_fields)
        if (!(from.*text).empty()) out[field] = from.*text;
    add_unknown(out, from.unknown);
    return out;
}

CardMarker read_marker(const JsonCursor& at, FiducialFamily family) {
    CardMarker marker;
    marker.id = at["id"].integer(0, marker_count(family) - 1);
    marker.rect = read_rect(at["rect_mm"], smallest_patch_mm);
    if (std::abs(marker.rect.width_mm - marker.rect.height_mm) > touching_mm)
        at["rect_mm"].fail(Reason::bad_value, "The marker is not square.",
                           "Give it the same width and height.");
    marker.unknown = at.unknown({"id", "rect_mm"});
    return marker;
}

// Everything that takes room on the card, with the place in the file where it stands.
struct Placed {
    std::string what;
    CardRect rect;
    JsonCursor at;
};

void check_places(const CardRect& card, const std::vector<Placed>& placed) {
    for (std::size_t i = 0; i < placed.size(); ++i) {
        const Placed& one = placed[i];
        if (!card.contains(one.rect))
            one.at.fail(Reason::bad_value, one.what + " reaches beyond the card.",
                        "Move it inside, or correct size_mm.");
        for (std::size_t k = 0; k < i; ++k)
            if (one.rect.overlaps(placed[k].rect))
                one.at.fail(Reason::bad_value, one.what + " lies over another: " + placed[k].what + ".",
                            "Move one of the two.");
        if (one.at.failed()) return;
    }
}

Json rect_json(const CardRect& r) { return Json::array({r.x_mm, r.y_mm, r.width_mm, r.height_mm}); }

}  // namespace

std::string_view name(PatchRole role) { return name_in(roles, role); }
std::string_view name(Trust trust) { return name_in(trusts, trust); }
bool parse_patch_role(std::string_view text, PatchRole& role) { return parse_in(roles, text, role); }

bool CardRect::contains(const CardRect& other) const {
    return other.x_mm >= x_mm - touching_mm && other.y_mm >= y_mm - touching_mm &&
           other.right_mm() <= right_mm() + touching_mm && other.bottom_mm() <= bottom_mm() + touching_mm;
}

bool CardRect::overlaps(const CardRect& other) const {
    return other.x_mm < right_mm() - touching_mm && x_mm < other.right_mm() - touching_mm &&
           other.y_mm < bottom_mm() - touching_mm && y_mm < other.bottom_mm() - touching_mm;
}

Spectrum TabulatedReflectance::resampled() const {
    Spectrum out;
    const auto n = static_cast<std::ptrdiff_t>(values.size());
    if (n < 4) return out;
    for (std::size_t i = 0; i < spectrum_size; ++i) {
        const double t =
            std::clamp((Spectrum::wavelength_nm(i) - first_nm) / step_nm, 0.0, static_cast<double>(n - 1));
        const std::ptrdiff_t first =
            std::clamp(static_cast<std::ptrdiff_t>(std::floor(t)) - 1, std::ptrdiff_t{0}, n - 4);
        const double u = t - static_cast<double>(first);  // 0..3 over the four values
        double sum = 0;
        for (int k = 0; k < 4; ++k) {
            double weight = 1;
            for (int m = 0; m < 4; ++m)
                if (m != k) weight *= (u - m) / (k - m);
            sum += weight * values[static_cast<std::size_t>(first + k)];
        }
        out[i] = std::max(sum, 0.0);
    }
    return out;
}

const CardPatch* CardLayout::patch(std::string_view id) const {
    const auto found =
        std::find_if(patches.begin(), patches.end(), [&](const CardPatch& p) { return p.id == id; });
    return found == patches.end() ? nullptr : &*found;
}

Result<CardLayout> read_card_layout(std::string_view text, const std::string& where) {
    Result<JsonDocument> document = read_format(text, where, card_format);
    if (!document) return document.error();
    const JsonCursor root = document->root();

    CardLayout card;
    card.name = read_name(root["name"]);
    const JsonCursor size = root["size_mm"];
    size.size(2, 2);
    card.width_mm = size[0].number(smallest_card_mm, largest_card_mm);
    card.height_mm = size[1].number(smallest_card_mm, largest_card_mm);
    if (const auto colour = root.find("colour"))
        if (colour->text() != colour_space)
            colour->fail(Reason::bad_value, "The values are for another white point or observer.",
                         "Convert them, and write \"" + std::string(colour_space) + "\".");
    const JsonCursor trust = root["trust"];
    if (!parse_in(trusts, trust.text(), card.trust))
        trust.fail(Reason::bad_value, "This trust is not known.", "Write nominal, assigned or measured.");
    if (const auto source = root.find("source")) card.source = source->text();
    if (const auto from = root.find("values_from")) card.values_from = read_provenance(*from);

    std::vector<Placed> placed;
    if (const auto opening = root.find("opening_mm")) {
        card.opening = read_rect(*opening, smallest_patch_mm);
        placed.push_back({"The opening", *card.opening, *opening});
    }
    if (const auto fiducials = root.find("fiducials")) {
        const JsonCursor family = (*fiducials)["family"];
        if (!parse_fiducial_family(family.text(), card.family))
            family.fail(Reason::bad_value, "This family of fiducials is not known.",
                        "Write one of " + fiducial_family_names() + ".");
        const JsonCursor markers = (*fiducials)["markers"];
        const std::size_t n = markers.size(0, static_cast<std::size_t>(marker_count(card.family)));
        for (std::size_t i = 0; i < n && !root.failed(); ++i) {
            const CardMarker marker = read_marker(markers[i], card.family);
            for (const CardMarker& other : card.markers)
                if (other.id == marker.id)
                    markers[i].fail(Reason::bad_value,
                                    "Marker " + std::to_string(marker.id) + " is there twice.",
                                    "Give each marker another id.");
            placed.push_back({"Marker " + std::to_string(marker.id), marker.rect, markers[i]});
            card.markers.push_back(marker);
        }
        card.fiducials_unknown = fiducials->unknown({"family", "markers"});
    }
    if (const auto scale = root.find("scale_mm")) {
        const JsonCursor start = (*scale)["start"];
        start.size(2, 2);
        card.scale = CardScale{{start[0].number(0, card.width_mm), start[1].number(0, card.height_mm)},
                               (*scale)["length"].number(1, largest_card_mm)};
        const CardRect ticks{card.scale->zero.x_mm, card.scale->zero.y_mm, card.scale->length_mm, 1};
        if (!card.outline().contains(ticks))
            scale->fail(Reason::bad_value, "The scale reaches beyond the card.", "Shorten or move it.");
    }
    const JsonCursor patches = root["patches"];
    const std::size_t n = patches.size(fewest_fit_patches, most_patches);
    std::size_t for_fit = 0;
    for (std::size_t i = 0; i < n && !root.failed(); ++i) {
        CardPatch patch = read_patch(patches[i]);
        if (card.patch(patch.id))
            patches[i].fail(Reason::bad_value, "Patch " + patch.id + " is there twice.",
                            "Give each patch another id.");
        for_fit += patch.role == PatchRole::grey || patch.role == PatchRole::colour ? 1 : 0;
        placed.push_back({"Patch " + patch.id, patch.rect, patches[i]});
        card.patches.push_back(std::move(patch));
    }
    if (!root.failed() && for_fit < fewest_fit_patches)
        patches.fail(Reason::too_few, "Only " + std::to_string(for_fit) + " patches are grey or colour.",
                     "Give at least " + std::to_string(fewest_fit_patches) + " from which a fit may learn.");
    if (!root.failed()) check_places(card.outline(), placed);
    card.unknown = root.unknown({"format", "version", "name", "size_mm", "opening_mm", "trust", "colour",
                                 "source", "values_from", "fiducials", "scale_mm", "patches"});
    if (document->error()) return *document->error();
    return card;
}

Result<CardLayout> load_card_layout(const std::filesystem::path& path) {
    const Result<std::string> text = read_file(path);
    if (!text) return text.error();
    return read_card_layout(*text, path.string());
}

Result<std::string> write_card_layout(const CardLayout& card) {
    Json root = opening(card_format);
    root["name"] = card.name;
    root["size_mm"] = Json::array({card.width_mm, card.height_mm});
    if (card.opening) root["opening_mm"] = rect_json(*card.opening);
    root["trust"] = name(card.trust);
    root["colour"] = colour_space;
    root["source"] = card.source;
    if (card.values_from) root["values_from"] = provenance_json(*card.values_from);
    Json markers = Json::array();
    for (const CardMarker& marker : card.markers) {
        Json m{{"id", marker.id}, {"rect_mm", rect_json(marker.rect)}};
        add_unknown(m, marker.unknown);
        markers.push_back(std::move(m));
    }
    Json fiducials{{"family", name(card.family)}};
    add_unknown(fiducials, card.fiducials_unknown);
    fiducials["markers"] = std::move(markers);
    root["fiducials"] = std::move(fiducials);
    if (card.scale)
        root["scale_mm"] = {{"start", Json::array({card.scale->zero.x_mm, card.scale->zero.y_mm})},
                            {"length", card.scale->length_mm}};
    add_unknown(root, card.unknown);
    Json patches = Json::array();
    for (const CardPatch& patch : card.patches) {
        Json p{{"id", patch.id}, {"role", name(patch.role)}, {"rect_mm", rect_json(patch.rect)}};
        p["lab"] = patch.lab.vector();
        if (patch.covariance) p["covariance"] = matrix_json(*patch.covariance);
        if (patch.spectrum)
            p["spectrum"] = {{"start_nm", patch.spectrum->first_nm},
                             {"step_nm", patch.spectrum->step_nm},
                             {"values", patch.spectrum->values}};
        add_unknown(p, patch.unknown);
        patches.push_back(std::move(p));
    }
    root["patches"] = std::move(patches);
    return to_text(root);
}

CardLayout bench_card() {
    const Result<CardLayout> card = read_card_layout(bench_card_json, "the built-in bench card");
    if (!card) std::abort();  // the program was built with a broken calibration/card.json
    return *card;
}

}  // namespace bindhue::capture

#include "shop/cgats_colour.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <numbers>
#include <optional>
#include <utility>

#include "colour/spectrum.hpp"
#include "shop/numbers.hpp"

namespace bindhue::capture {
namespace {

std::string capitals_without_blanks(std::string_view text) {
    std::string out;
    for (const char c : text)
        if (c != ' ' && c != '\t' && c != '"') out += c >= 'a' && c <= 'z' ? static_cast<char>(c - 'a' + 'A') : c;
    return out;
}

// For which light and observer the file says that its colours are.
struct Conditions {
    std::string light, observer;  // empty: not said

    static Conditions of(const CgatsTable& table) {
        Conditions out;
        for (const auto& [keyword, value] : table.keywords) {
            const std::string said = capitals_without_blanks(value);
            if (keyword == "ILLUMINATION_NAME") out.light = said;
            if (keyword == "OBSERVER_ANGLE") out.observer = said;
            if (keyword == "WEIGHTING_FUNCTION" || keyword == "COMPUTATIONAL_PARAMETER") {
                if (const std::string light = after("ILLUMINANT,", said); !light.empty()) out.light = light;
                if (const std::string observer = after("OBSERVER,", said); !observer.empty()) out.observer = observer;
            }
            if (keyword == "MEASUREMENT_SOURCE")
                if (const std::string observer = after("OBSERVERANGLE=", said); !observer.empty()) out.observer = observer;
        }
        return out;
    }

    bool said() const { return !light.empty() && !observer.empty(); }
    bool other_light() const { return !light.empty() && light != "D50"; }
    bool other_observer() const {
        const std::size_t digits = std::min(observer.find_first_not_of("0123456789"), observer.size());
        const std::string_view angle = std::string_view(observer).substr(0, digits);
        return !observer.empty() && angle != "2" && angle != "1931";
    }

  private:
    static std::string after(std::string_view name, const std::string& said) {
        const std::size_t at = said.find(name);
        if (at == std::string::npos) return "";
        const std::size_t begin = at + name.size();
        return said.substr(begin, said.find_first_of(";,", begin) - begin);
    }
};

struct Band {
    double nm = 0;
    std::string field;
    std::string_view scale;  // PCT, DEC or not said
};

std::optional<Band> band_of(const std::string& field) {
    for (const auto& [prefix, scale] : {std::pair<std::string_view, std::string_view>{"SPECTRAL_NM", ""},
                                        {"SPECTRAL_PCT", "PCT"},
                                        {"SPECTRAL_DEC", "DEC"},
                                        {"SPECTRAL", ""},
                                        {"NM", ""}}) {
        if (!field.starts_with(prefix)) continue;
        std::string_view digits = std::string_view(field).substr(prefix.size());
        if (digits.starts_with("_")) digits.remove_prefix(1);
        int nm = 0;
        const auto [end, code] = std::from_chars(digits.data(), digits.data() + digits.size(), nm);
        if (digits.size() == 3 && code == std::errc() && end == digits.data() + 3 && nm >= 200) return Band{static_cast<double>(nm), field, scale};
    }
    return std::nullopt;
}

std::vector<Band> bands_of(const CsvTable& sets) {
    std::vector<Band> out;
    for (const std::string& field : sets.columns())
        if (const auto band = band_of(field)) out.push_back(*band);
    std::sort(out.begin(), out.end(), [](const Band& x, const Band& y) { return x.nm < y.nm; });
    return out;
}

bool has_all(const CsvTable& sets, std::initializer_list<std::string_view> names) {
    return std::all_of(names.begin(), names.end(), [&](std::string_view name) { return sets.has(name); });
}

// Numbers of one set, in the order of the names, each within the bounds.
Result<Vector3> numbers(const CsvTable& sets, std::size_t row, const std::array<std::string_view, 3>& names, const std::array<std::pair<double, double>, 3>& bounds) {
    Vector3 out{};
    for (std::size_t k = 0; k < 3; ++k) {
        const Result<double> value = sets.number(row, names[k], bounds[k].first, bounds[k].second);
        if (!value) return value.error();
        out[k] = *value;
    }
    return out;
}

Status read_labs(const CsvTable& sets, CgatsColours& out) {
    const bool polar = !has_all(sets, {"LAB_A", "LAB_B"});
    for (std::size_t row = 0; row < sets.rows(); ++row) {
        constexpr std::pair<double, double> L{0, 110}, ab{-200, 200}, chroma{0, 200}, hue{-360, 720};
        const Result<Vector3> v = polar ? numbers(sets, row, {"LAB_L", "LAB_C", "LAB_H"}, {L, chroma, hue})
                                        : numbers(sets, row, {"LAB_L", "LAB_A", "LAB_B"}, {L, ab, ab});
        if (!v) return v.error();
        const double angle = (*v)[2] * std::numbers::pi / 180;
        out.labs.push_back(polar ? Lab<D50>{(*v)[0], (*v)[1] * std::cos(angle), (*v)[1] * std::sin(angle)} : Lab<D50>{(*v)[0], (*v)[1], (*v)[2]});
    }
    return ok();
}

Status read_xyzs(const CsvTable& sets, CgatsColours& out) {
    constexpr std::pair<double, double> range{0, 200};
    for (std::size_t row = 0; row < sets.rows(); ++row) {
        const Result<Vector3> v = numbers(sets, row, {"XYZ_X", "XYZ_Y", "XYZ_Z"}, {range, range, range});
        if (!v) return v.error();
        out.labs.push_back(to_lab(XYZ<D50>::from({(*v)[0] / 100, (*v)[1] / 100, (*v)[2] / 100})));
    }
    return ok();
}

Status read_spectra(const CsvTable& sets, const std::vector<Band>& bands, const std::string& where, CgatsColours& out, std::vector<std::string>& notes) {
    const double step = bands.size() < 2 ? 0 : bands[1].nm - bands[0].nm;
    for (std::size_t i = 1; i < bands.size(); ++i)
        if (bands[i].nm - bands[i - 1].nm != step || step == 0 || bands[i].scale != bands[0].scale)
            return Error{Reason::bad_format, "The wavelengths of " + bands[i - 1].field + " and " + bands[i].field + " are not in even steps, or of two kinds.", where,
                         "Give each wavelength once, in even steps, all as SPECTRAL_NM, SPECTRAL_PCT or SPECTRAL_DEC."};
    if (bands.front().nm > 400 || bands.back().nm < 700 || step > 20)
        return Error{Reason::bad_format, "The spectra go from " + shortest_text(bands.front().nm) + " to " + shortest_text(bands.back().nm) + " nm by " + shortest_text(step) + ".",
                     where, "Give 400 to 700 nm, in steps of at most 20."};
    double largest = 0;
    for (std::size_t row = 0; row < sets.rows(); ++row) {
        TabulatedReflectance spectrum{bands.front().nm, step, {}};
        for (const Band& band : bands) {
            const Result<double> value = sets.number(row, band.field, -1, band.scale == "DEC" ? 2 : 200);
            if (!value) return value.error();
            largest = std::max(largest, *value);
            spectrum.values.push_back(*value);
        }
        out.spectra.push_back(std::move(spectrum));
    }
    // No surface reflects twice the light, and hardly a rack has only threads under 2 %.
    const bool percent = bands[0].scale == "PCT" || (bands[0].scale.empty() && largest > 2);
    if (bands[0].scale.empty())
        notes.push_back(std::string("the largest reflectance is ").append(shortest_text(largest)).append(percent ? ": taken for percent" : ": taken for parts of 1"));
    for (TabulatedReflectance& spectrum : out.spectra) {
        for (double& value : spectrum.values) value = std::max(0.0, percent ? value / 100 : value);
        out.labs.push_back(to_lab(reflectance_to_xyz_d50(spectrum.resampled())));
    }
    return ok();
}

}  // namespace

bool is_spectral_field(const std::string& field) { return band_of(field).has_value(); }

Result<CgatsColours> read_cgats_colours(const CgatsTable& table, const std::string& where, CgatsFirst first, std::vector<std::string>& notes) {
    const CsvTable& sets = table.sets;
    const bool lab = has_all(sets, {"LAB_L", "LAB_A", "LAB_B"}) || has_all(sets, {"LAB_L", "LAB_C", "LAB_H"});
    const bool xyz = has_all(sets, {"XYZ_X", "XYZ_Y", "XYZ_Z"});
    const std::vector<Band> bands = bands_of(sets);
    const Conditions conditions = Conditions::of(table);
    const bool other = conditions.other_light() || conditions.other_observer();
    if (!lab && !xyz && bands.empty())
        return Error{Reason::bad_format, "There are no fields of a colour.", where,
                     "Give LAB_L, LAB_A and LAB_B, or XYZ_X, XYZ_Y and XYZ_Z, or spectra (SPECTRAL_NM400 and so on)."};
    if ((lab || xyz) && other && bands.empty())
        return Error{Reason::bad_value, "The colours are for " + (conditions.other_light() ? conditions.light.substr(0, 20) : "observer " + conditions.observer.substr(0, 20)) + ".",
                     where, "Export them for D50 and the 2-degree observer, or with spectra."};
    const bool by_spectra = !bands.empty() && (first == CgatsFirst::spectra || other || !(lab || xyz));
    if (!by_spectra && !conditions.said())
        notes.emplace_back("the file does not say for which light and observer its colours are: taken for D50 and 2 degree");
    CgatsColours out;
    out.from = by_spectra ? CgatsColours::From::spectra : lab ? CgatsColours::From::lab : CgatsColours::From::xyz;
    out.field = by_spectra ? bands.front().field : lab ? "LAB_L" : "XYZ_Y";
    const Status read = by_spectra ? read_spectra(sets, bands, where, out, notes) : lab ? read_labs(sets, out) : read_xyzs(sets, out);
    if (!read) return read.error();
    return out;
}

}  // namespace bindhue::capture

#include "shop/spool_cgats.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <optional>
#include <utility>

#include "colour/spectrum.hpp"
#include "shop/card_layout.hpp"
#include "shop/cgats.hpp"

namespace bindhue::capture {
namespace {

constexpr std::size_t sets_a_table = 30'000;

// Columns of shop/spool_table.hpp and the fields that hold the same.
struct Field {
    std::string_view field, column;
    bool for_all = false;  // may stand before the sets as a keyword
};
constexpr std::array<Field, 30> fields{{{"SAMPLE_ID", "code"},
                                        {"SAMPLE_NAME", "name"},
                                        {"THREAD_MATERIAL", "material", true},
                                        {"THREAD_SIZE", "size", true},
                                        {"THREAD_SIZE_MM", "size_mm", true},
                                        {"DYE_LOT", "lot", true},
                                        {"METRES_LEFT", "metres_left"},
                                        {"LAB_L", "L"},
                                        {"LAB_A", "a"},
                                        {"LAB_B", "b"},
                                        {"LAB_C", "C"},
                                        {"LAB_H", "h"},
                                        {"VAR_L", "var_L"},
                                        {"VAR_A", "var_a"},
                                        {"VAR_B", "var_b"},
                                        {"COV_LA", "cov_La"},
                                        {"COV_LB", "cov_Lb"},
                                        {"COV_AB", "cov_ab"},
                                        {"SHARED_VAR_L", "shared_var_L"},
                                        {"SHARED_VAR_A", "shared_var_a"},
                                        {"SHARED_VAR_B", "shared_var_b"},
                                        {"SHARED_COV_LA", "shared_cov_La"},
                                        {"SHARED_COV_LB", "shared_cov_Lb"},
                                        {"SHARED_COV_AB", "shared_cov_ab"},
                                        {"CAMERA", "camera", true},
                                        {"CARD", "card", true},
                                        {"LIGHT", "light", true},
                                        {"SOURCE", "source", true},
                                        {"READING_DATE", "date", true},
                                        {"PAST", "past"}}};

std::string_view field_of(std::string_view column) {
    return std::find_if(fields.begin(), fields.end(), [&](const Field& f) { return f.column == column; })->field;
}

bool is_standard(std::string_view field) { return field == "SAMPLE_ID" || field == "LAB_L" || field == "LAB_A" || field == "LAB_B"; }

std::string as_text(double value) {
    std::array<char, 32> text{};
    const auto [end, code] = std::to_chars(text.data(), text.data() + text.size(), value);
    return {text.data(), end};
}

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

using Labs = std::vector<Lab<D50>>;

Result<Labs> from_xyz(const CsvTable& sets) {
    Labs out;
    for (std::size_t row = 0; row < sets.rows(); ++row) {
        Vector3 xyz{};
        for (std::size_t k = 0; k < 3; ++k) {
            constexpr std::array<std::string_view, 3> names{"XYZ_X", "XYZ_Y", "XYZ_Z"};
            const Result<double> value = sets.number(row, names[k], 0, 200);
            if (!value) return value.error();
            xyz[k] = *value / 100;
        }
        out.push_back(to_lab(XYZ<D50>::from(xyz)));
    }
    return out;
}

Result<Labs> from_spectra(const CsvTable& sets, const std::vector<Band>& bands, const std::string& where, std::vector<std::string>& notes) {
    const double step = bands.size() < 2 ? 0 : bands[1].nm - bands[0].nm;
    for (std::size_t i = 1; i < bands.size(); ++i)
        if (bands[i].nm - bands[i - 1].nm != step || step == 0 || bands[i].scale != bands[0].scale)
            return Error{Reason::bad_format, "The wavelengths of " + bands[i - 1].field + " and " + bands[i].field + " are not in even steps, or of two kinds.", where,
                         "Give each wavelength once, in even steps, all as SPECTRAL_NM, SPECTRAL_PCT or SPECTRAL_DEC."};
    if (bands.front().nm > 400 || bands.back().nm < 700 || step > 20)
        return Error{Reason::bad_format, "The spectra go from " + as_text(bands.front().nm) + " to " + as_text(bands.back().nm) + " nm by " + as_text(step) + ".",
                     where, "Give 400 to 700 nm, in steps of at most 20."};
    std::vector<TabulatedReflectance> spectra;
    double largest = 0;
    for (std::size_t row = 0; row < sets.rows(); ++row) {
        TabulatedReflectance spectrum{bands.front().nm, step, {}};
        for (const Band& band : bands) {
            const Result<double> value = sets.number(row, band.field, -1, band.scale == "DEC" ? 2 : 200);
            if (!value) return value.error();
            largest = std::max(largest, *value);
            spectrum.values.push_back(*value);
        }
        spectra.push_back(std::move(spectrum));
    }
    // No surface reflects twice the light, and hardly a rack has only threads under 2 %.
    const bool percent = bands[0].scale == "PCT" || (bands[0].scale.empty() && largest > 2);
    if (bands[0].scale.empty())
        notes.push_back(std::string("the largest reflectance is ").append(as_text(largest)).append(percent ? ": taken for percent" : ": taken for parts of 1"));
    Labs out;
    for (TabulatedReflectance& spectrum : spectra) {
        for (double& value : spectrum.values) value = std::max(0.0, percent ? value / 100 : value);
        out.push_back(to_lab(reflectance_to_xyz_d50(spectrum.resampled())));
    }
    return out;
}

// Puts the colour into L, a and b where it stands otherwise.
Status reckon_colour(const CgatsTable& table, CsvTable& sets, const std::string& where, std::vector<std::string>& notes) {
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
    if ((lab || xyz) && !other) {
        if (!conditions.said())
            notes.emplace_back("the file does not say for which light and observer its colours are: taken for D50 and 2 degree");
        if (lab) return ok();
    }
    const Result<Labs> labs = xyz && !other ? from_xyz(sets) : from_spectra(sets, bands, where, notes);
    if (!labs) return labs.error();
    // Not the file's own, which are not whole or for another light.
    for (const char* old : {"LAB_L", "LAB_A", "LAB_B", "LAB_C", "LAB_H"})
        if (sets.has(old)) sets.drop(old);
    for (std::size_t k = 0; k < 3; ++k) {
        constexpr std::array<const char*, 3> names{"LAB_L", "LAB_A", "LAB_B"};
        std::vector<std::string> values;
        for (const Lab<D50>& colour : *labs) values.push_back(as_text(colour.vector()[k]));
        sets.add(names[k], values, xyz && !other ? "XYZ_Y" : bands.front().field);
    }
    return ok();
}

Status square_deviations(CsvTable& sets) {
    if (sets.has("VAR_L") || !has_all(sets, {"STDEV_L", "STDEV_A", "STDEV_B"})) return ok();
    for (const auto& [field, column] : {std::pair{"STDEV_L", "VAR_L"}, {"STDEV_A", "VAR_A"}, {"STDEV_B", "VAR_B"}}) {
        std::vector<std::string> squares;
        for (std::size_t row = 0; row < sets.rows(); ++row) {
            const Result<double> deviation = sets.number(row, field, 0, 100);
            if (!deviation) return deviation.error();
            squares.push_back(as_text(*deviation * *deviation));
        }
        sets.add(column, squares, field);
    }
    return ok();
}

// Once the colour is reckoned.
bool is_used_up(const std::string& field) { return band_of(field) || field.starts_with("XYZ_") || field.starts_with("STDEV_"); }

Result<CsvTable> with_our_names(const CgatsTable& table, const std::string& where, const SpoolDefaults& defaults, std::vector<std::string>& notes) {
    CsvTable sets = table.sets;
    const auto lacking = [&](std::string what, std::string mend) { return Error{Reason::bad_format, std::move(what), where, std::move(mend)}; };
    if (!sets.has("SAMPLE_ID") && sets.has("SAMPLEID")) sets.rename("SAMPLEID", "SAMPLE_ID");
    if (!sets.has("SAMPLE_ID")) return lacking("There is no field SAMPLE_ID.", "Give the code of each spool in it.");
    if (const Status reckoned = reckon_colour(table, sets, where, notes); !reckoned) return reckoned.error();
    if (const Status squared = square_deviations(sets); !squared) return squared.error();
    for (const std::string& field : std::vector<std::string>(sets.columns())) {
        if (std::any_of(fields.begin(), fields.end(), [&](const Field& f) { return f.field == field; })) continue;
        if (!is_used_up(field)) notes.push_back("the field \"" + field + "\" is not known, and is left out");
        sets.drop(field);
    }
    for (const Field& f : fields) {
        if (sets.has(f.field)) {
            sets.rename(f.field, std::string(f.column));
        } else if (f.for_all) {
            std::string told(f.field), said = table.keyword(told);
            if (said.empty() && f.column == "source") said = table.keyword(told = "INSTRUMENTATION");
            if (!said.empty()) sets.add(std::string(f.column), said, told);
        }
    }
    if (!sets.has("material") && !defaults.material)
        return lacking("The file does not say of what material the threads are.", "Say it with --material, or in THREAD_MATERIAL.");
    if (!sets.has("size_mm") && !defaults.size_mm)
        return lacking("The file does not say how thick the threads are.", "Say it with --size-mm, or in THREAD_SIZE_MM.");
    return sets;
}

}  // namespace

Result<SpoolTable> read_spool_cgats(std::string_view text, const std::string& where, const SpoolDefaults& defaults) {
    const Result<std::vector<CgatsTable>> tables = read_cgats(text, where);
    if (!tables) return tables.error();
    std::vector<std::string> notes;
    std::vector<CsvTable> named;
    for (const CgatsTable& table : *tables) {
        Result<CsvTable> sets = with_our_names(table, where, defaults, notes);
        if (!sets) return sets.error();
        named.push_back(std::move(*sets));
    }
    Result<SpoolTable> out = read_spool_tables(std::move(named), where, defaults);
    if (!out) return out;
    std::sort(notes.begin(), notes.end());
    notes.erase(std::unique(notes.begin(), notes.end()), notes.end());
    out->warnings.insert(out->warnings.begin(), notes.begin(), notes.end());
    return out;
}

Result<std::string> write_spool_cgats(const SpoolFile& file) {
    const SpoolRows table = spool_rows(file);
    std::string out = "CGATS.17\nORIGINATOR \"bindhue\"\nDESCRIPTOR \"spools of thread, dry\"\n"
                      "WEIGHTING_FUNCTION \"ILLUMINANT, D50;OBSERVER, 2 degree\"\n";
    std::string names;
    for (const SpoolRows::Column& column : table.columns) {
        const std::string_view field = field_of(column.name);
        if (!is_standard(field)) out.append("KEYWORD \"").append(field).append("\"\n");
        names.append(names.empty() ? "" : "\t").append(field);
    }
    for (std::size_t row = 0; row < table.rows.size();) {
        const std::size_t end = std::min(row + sets_a_table, table.rows.size());
        out.append("NUMBER_OF_FIELDS ").append(std::to_string(table.columns.size())).append("\nBEGIN_DATA_FORMAT\n").append(names);
        out.append("\nEND_DATA_FORMAT\nNUMBER_OF_SETS ").append(std::to_string(end - row)).append("\nBEGIN_DATA\n");
        for (; row < end; ++row) {
            const std::vector<std::string>& set = table.rows[row];
            for (std::size_t k = 0; k < set.size(); ++k) {
                if (k > 0) out += '\t';
                if (table.columns[k].number && !set[k].empty()) {
                    out += set[k];
                    continue;
                }
                const Result<std::string> quoted = cgats_quoted(set[k]);
                if (!quoted) return Error{quoted.error().reason, quoted.error().what, "spool " + set[0].substr(0, 40), quoted.error().mend};
                out += *quoted;
            }
            out += '\n';
        }
        out += "END_DATA\n";
    }
    return out;
}

}  // namespace bindhue::capture

#include "shop/spool_cgats.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <optional>
#include <utility>

#include "shop/cgats.hpp"
#include "shop/cgats_colour.hpp"
#include "shop/numbers.hpp"

namespace bindhue::capture {
namespace {

constexpr std::size_t sets_a_table = 30'000;

// Columns of shop/spool_table.hpp and the fields that hold the same.
struct Field {
    std::string_view field, column;
    bool for_all = false;  // may stand before the sets as a keyword
};
constexpr std::array<Field, 32> fields{{{"SAMPLE_ID", "code"},
                                        {"SAMPLE_NAME", "name"},
                                        {"THREAD_MATERIAL", "material", true},
                                        {"THREAD_SIZE", "size", true},
                                        {"THREAD_SIZE_MM", "size_mm", true},
                                        {"DYE_LOT", "lot", true},
                                        {"METRES_LEFT", "metres_left"},
                                        {"LAYER_SCATTERING", "opacity"},
                                        {"LAYER_SCATTERING_LOG_SD", "opacity_log_sd"},
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

// Puts the colour into L, a and b where it stands otherwise.
Status reckon_colour(const CgatsTable& table, CsvTable& sets, const std::string& where, std::vector<std::string>& notes) {
    const Result<CgatsColours> colours = read_cgats_colours(table, where, CgatsFirst::colours, notes);
    if (!colours) return colours.error();
    if (colours->from == CgatsColours::From::lab) return ok();  // its columns stay as they are, to the last digit
    // Not the file's own, which are not whole or for another light.
    for (const char* old : {"LAB_L", "LAB_A", "LAB_B", "LAB_C", "LAB_H"})
        if (sets.has(old)) sets.drop(old);
    for (std::size_t k = 0; k < 3; ++k) {
        constexpr std::array<const char*, 3> names{"LAB_L", "LAB_A", "LAB_B"};
        std::vector<std::string> values;
        for (const Lab<D50>& colour : colours->labs) values.push_back(shortest_text(colour.vector()[k]));
        sets.add(names[k], values, colours->field);
    }
    return ok();
}

Status square_deviations(CsvTable& sets) {
    if (sets.has("VAR_L") || !sets.has("STDEV_L") || !sets.has("STDEV_A") || !sets.has("STDEV_B")) return ok();
    for (const auto& [field, column] : {std::pair{"STDEV_L", "VAR_L"}, {"STDEV_A", "VAR_A"}, {"STDEV_B", "VAR_B"}}) {
        std::vector<std::string> squares;
        for (std::size_t row = 0; row < sets.rows(); ++row) {
            const Result<double> deviation = sets.number(row, field, 0, 100);
            if (!deviation) return deviation.error();
            squares.push_back(shortest_text(*deviation * *deviation));
        }
        sets.add(column, squares, field);
    }
    return ok();
}

// Once the colour is reckoned.
bool is_used_up(const std::string& field) { return is_spectral_field(field) || field.starts_with("XYZ_") || field.starts_with("STDEV_"); }

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

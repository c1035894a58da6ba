#include "shop/card_cgats.hpp"

#include <algorithm>
#include <filesystem>
#include <utility>

#include "colour/difference.hpp"
#include "shop/cgats.hpp"
#include "shop/cgats_colour.hpp"
#include "shop/csv.hpp"

namespace bindhue::capture {
namespace {

std::string capitals(std::string text) {
    for (char& c : text)
        if (c >= 'a' && c <= 'z') c = static_cast<char>(c - 'a' + 'A');
    return text;
}

std::string colours_in_words(CgatsColours::From from) {
    return from == CgatsColours::From::lab ? "Lab" : from == CgatsColours::From::xyz ? "XYZ" : "spectra";
}

struct Sample {
    PatchValue value;
    std::size_t table = 0, row = 0;
    bool taken = false;
};

Result<std::optional<Matrix3>> covariance_of(const CsvTable& sets, std::size_t row) {
    if (!sets.has("STDEV_L") || !sets.has("STDEV_A") || !sets.has("STDEV_B")) return std::optional<Matrix3>();
    Vector3 variance{};
    for (const auto& [k, field] : {std::pair<std::size_t, const char*>{0, "STDEV_L"}, {1, "STDEV_A"}, {2, "STDEV_B"}}) {
        const Result<double> deviation = sets.number(row, field, 0, 100);
        if (!deviation) return deviation.error();
        variance[k] = *deviation * *deviation;
    }
    return std::optional(Matrix3::diagonal(variance));
}

// Instruments differ in how they sum a spectrum up, by a few tenths; more is another white, or other samples.
void compare_with_labs(const CgatsTable& table, const std::string& where, const CgatsColours& colours, std::vector<std::string>& notes) {
    constexpr double alike = 1.0;
    std::vector<std::string> unused;
    const Result<CgatsColours> said = read_cgats_colours(table, where, CgatsFirst::colours, unused);
    if (!said || said->from == CgatsColours::From::spectra) return;
    double worst = 0;
    for (std::size_t i = 0; i < colours.labs.size(); ++i) worst = std::max(worst, ciede2000(colours.labs[i], said->labs[i]));
    if (worst > alike)
        notes.push_back("the file's own colours are up to " + std::to_string(worst).substr(0, 4) +
                        " CIEDE2000 from those of its spectra: the spectra are taken");
}

}  // namespace

Result<std::map<std::string, std::string>> read_sample_names(std::string_view text, const std::string& where, const CardLayout& card) {
    const Result<CsvTable> table = read_csv(text, where);
    if (!table) return table.error();
    if (const Status columns = table->require({"patch", "sample"}); !columns) return columns.error();
    std::map<std::string, std::string> out;
    for (std::size_t row = 0; row < table->rows(); ++row) {
        const std::string &patch = table->text(row, "patch"), &sample = table->text(row, "sample");
        if (!card.patch(patch)) return table->error(row, "patch", "The card has no such patch.", "Write its id as the key of the print does.");
        if (sample.empty()) return table->error(row, "sample", "There is no name.", "Name the sample as the file of measurements does.");
        if (!out.emplace(patch, sample).second) return table->error(row, "patch", "This patch is there twice.", "Name one sample for it.");
    }
    return out;
}

Result<CardValues> read_card_cgats(std::string_view text, const std::string& where, const CardLayout& card, const SampleNames& names,
                                   const std::string& date, std::vector<std::string>& notes) {
    const Result<std::vector<CgatsTable>> tables = read_cgats(text, where);
    if (!tables) return tables.error();
    CardValues out;
    out.from.file = std::filesystem::path(where).filename().string();
    out.from.date = date;

    // Every sample by its name; a name that is there twice must not be a patch's.
    std::map<std::string, std::vector<Sample>> samples;
    std::vector<std::pair<std::size_t, std::string>> fields;  // table, the field that names its samples
    for (std::size_t t = 0; t < tables->size(); ++t) {
        const CgatsTable& table = (*tables)[t];
        std::string field = capitals(names.field);
        if (field == "SAMPLE_ID" && !table.sets.has(field) && table.sets.has("SAMPLEID")) field = "SAMPLEID";
        if (!table.sets.has(field))
            return Error{Reason::bad_format, "There is no field " + field.substr(0, 40) + ".", where, "Say with --id which field names the patch."};
        fields.emplace_back(t, field);
        const Result<CgatsColours> colours = read_cgats_colours(table, where, CgatsFirst::spectra, notes);
        if (!colours) return colours.error();
        if (colours->from == CgatsColours::From::spectra) compare_with_labs(table, where, *colours, notes);
        out.from.colours = colours_in_words(colours->from);
        for (std::size_t row = 0; row < table.sets.rows(); ++row) {
            Sample sample{{table.sets.text(row, field), colours->labs[row], std::nullopt, std::nullopt}, t, row};
            Result<std::optional<Matrix3>> covariance = covariance_of(table.sets, row);
            if (!covariance) return covariance.error();
            sample.value.covariance = *covariance;
            if (!colours->spectra.empty()) sample.value.spectrum = colours->spectra[row];
            samples[sample.value.id].push_back(std::move(sample));
        }
        for (const auto& [keyword, text_of] : {std::pair{"INSTRUMENTATION", &out.from.instrument}, {"DESCRIPTOR", &out.from.descriptor}, {"CREATED", &out.from.created}})
            if (const std::string said = table.keyword(keyword); !said.empty()) *text_of = said.substr(0, 200);
    }

    std::vector<std::string> missing;
    for (const CardPatch& patch : card.patches) {
        const auto mapped = names.of_patch.find(patch.id);
        const std::string& name = mapped == names.of_patch.end() ? patch.id : mapped->second;
        const auto found = samples.find(name);
        if (found == samples.end()) {
            if (patch.role != PatchRole::trap) missing.push_back(name);
            continue;
        }
        Sample& first = found->second.front();
        if (patch.role == PatchRole::trap) {
            if (!first.taken) notes.push_back("sample " + name.substr(0, 40) + " is a trap of the card, a hole: its value is left as it is");
            first.taken = true;
            continue;
        }
        const auto error = [&](const Sample& s, std::string what, std::string mend) {
            return (*tables)[s.table].sets.error(s.row, fields[s.table].second, std::move(what), std::move(mend));
        };
        if (found->second.size() > 1)
            return error(found->second[1], "The sample " + name.substr(0, 40) + " is there twice.", "Keep one of the two, or their mean with standard deviations.");
        if (first.taken) return error(first, "The sample " + name.substr(0, 40) + " is to be two patches.", "Give each patch a sample of its own.");
        first.taken = true;
        PatchValue value = std::move(first.value);
        value.id = patch.id;
        out.patches.push_back(std::move(value));
    }
    if (!missing.empty())
        return Error{Reason::bad_value, std::to_string(missing.size()) + " of the card's patches have no sample: " + listed(missing) + ".", where,
                     "Measure them, or say what they are called: --id FIELD for another field than " + fields.front().second +
                         ", --map FILE.csv for other names (columns patch,sample)."};
    std::size_t others = 0;
    for (const auto& [name, all] : samples) others += all.front().taken ? 0 : all.size();
    if (others > 0) notes.push_back(std::to_string(others) + " samples of the file are no patch of the card: passed over");
    return out;
}

Result<std::string> write_patch_list(const CardLayout& card) {
    std::size_t count = 0;
    std::string sets;
    for (const CardPatch& patch : card.patches) {
        if (patch.role == PatchRole::trap) continue;
        const Result<std::string> id = cgats_quoted(patch.id);
        if (!id) return Error{id.error().reason, id.error().what, "patch " + patch.id.substr(0, 40), id.error().mend};
        sets.append(*id).append("\t\"").append(name(patch.role)).append("\"\n");
        ++count;
    }
    const Result<std::string> title = cgats_quoted(card.name);
    return "CGATS.17\nORIGINATOR \"bindhue\"\nDESCRIPTOR " + (title ? *title : "\"a card\"") +
           "\nKEYWORD \"PATCH_ROLE\"\nNUMBER_OF_FIELDS 2\nBEGIN_DATA_FORMAT\nSAMPLE_ID\tPATCH_ROLE\nEND_DATA_FORMAT\nNUMBER_OF_SETS " + std::to_string(count) +
           "\nBEGIN_DATA\n" + sets + "END_DATA\n";
}

}  // namespace bindhue::capture

#include "shop/look_table.hpp"

#include <unordered_set>

#include "shop/atomic_file.hpp"
#include "shop/colour_json.hpp"
#include "shop/csv.hpp"
#include "shop/formats.hpp"
#include "shop/spool_file.hpp"

namespace bindhue::capture {
namespace {

constexpr std::size_t most_bands = 10'000;
constexpr double unread = 2;  // standard deviation of a colour from a list that says nothing of it (a guess)

Result<std::vector<AskedLook>> bands_of(std::string_view text, const std::string& where) {
    Result<JsonDocument> document = read_format(text, where, reading_format);
    if (!document) return document.error();
    const JsonCursor root = document->root();
    std::vector<AskedLook> out;
    const JsonCursor bands = root["bands"];
    const std::size_t count = bands.size(0, most_bands);
    for (std::size_t i = 0; i < count && !root.failed(); ++i) {
        const std::string role = bands[i]["role"].text();
        if (role != "wrap" && role != "trim") continue;
        out.push_back({lab_at(bands[i]["lab"]), 1});
    }
    if (document->error()) return *document->error();
    if (out.empty())
        return Error{Reason::too_few, "The reading has no wrap and no trim.", where, "Give another reading."};
    return out;
}

template <class T, class F>
Result<T> load(const std::filesystem::path& path, F read) {
    const Result<std::string> text = read_file(path);
    if (!text) return text.error();
    return read(*text, path.string());
}

}  // namespace

Result<std::vector<OldBand>> read_old_rod(std::string_view text, const std::string& where) {
    Result<JsonDocument> document = read_format(text, where, reading_format);
    if (!document) return document.error();
    const JsonCursor root = document->root();
    constexpr double usual_diameter_mm = 8;  // where the reading says none: only for the drawing
    const auto across = root.find("blank_diameter_mm");
    const double diameter = across ? across->number(0.1, 200) : usual_diameter_mm;
    std::vector<OldBand> out;
    const JsonCursor bands = root["bands"];
    const std::size_t count = bands.size(0, most_bands);
    for (std::size_t i = 0; i < count && !root.failed(); ++i) {
        out.push_back({bands[i]["start_mm"].number(-1e4, 1e4), bands[i]["length_mm"].number(0, 1e4), diameter,
                       bands[i]["role"].text() == "blank", lab_at(bands[i]["lab"]), {}});
        const auto covariance = bands[i].find("covariance");
        if (!covariance) continue;
        out.back().covariance = matrix_at(*covariance);
        if (!covariance->failed()) covariance->check(validate(Reading{out.back().lab, out.back().covariance, {}}));
    }
    if (document->error()) return *document->error();
    return out;
}

Result<std::vector<AskedLook>> read_asked_looks(std::string_view text, const std::string& where) {
    if (looks_like_json(text)) return bands_of(text, where);
    const Result<CsvTable> table = read_csv(text, where);
    if (!table) return table.error();
    if (const Status complete = table->require({"L", "a", "b"}); !complete) return complete.error();
    std::vector<AskedLook> out;
    for (std::size_t row = 0; row < table->rows(); ++row) {
        const Result<Lab<D50>> lab = table->lab(row);
        if (!lab) return lab.error();
        AskedLook look{*lab, 1};
        if (table->has("weight")) {
            const Result<double> weight = table->number(row, "weight", 1e-6, 1e9);
            if (!weight) return weight.error();
            look.weight = *weight;
        }
        out.push_back(look);
    }
    return out;
}

std::optional<Reading> blank_of(const std::vector<OldBand>& rod) {
    std::optional<Reading> out;
    double longest = 0;
    for (const OldBand& band : rod)
        if (band.is_blank && band.length_mm > longest) {
            longest = band.length_mm;
            out = Reading{band.lab, band.covariance, {}};
        }
    return out;
}

Result<Palette> read_offer(std::string_view text, const std::string& where) {
    if (looks_like_json(text)) {
        const Result<SpoolFile> file = read_spool_file(text, where);
        if (!file) return file.error();
        return file->palette();
    }
    const Result<CsvTable> table = read_csv(text, where);
    if (!table) return table.error();
    if (const Status complete = table->require({"code", "material", "size_mm", "L", "a", "b"}); !complete)
        return complete.error();
    Palette out;
    std::unordered_set<std::string> codes;
    for (std::size_t row = 0; row < table->rows(); ++row) {
        Spool spool;
        spool.code = table->text(row, "code");
        if (spool.code.empty()) return table->error(row, "code", "The spool has no code.", "Give it one.");
        if (!codes.insert(spool.code).second)
            return table->error(row, "code", "Spool " + spool.code + " is there twice.", "Give each another code.");
        const Result<Material> material = table->word(row, "material", parse_material);
        if (!material) return material.error();
        spool.material = *material;
        const Result<double> size = table->number(row, "size_mm", min_thread_mm, max_thread_mm);
        if (!size) return size.error();
        spool.size_mm = *size;
        const Result<Lab<D50>> lab = table->lab(row);
        if (!lab) return lab.error();
        spool.readings = {{*lab, Matrix3::diagonal({unread * unread, unread * unread, unread * unread}), {}}};
        if (table->has("name")) spool.name = table->text(row, "name");
        if (table->has("size")) spool.size = table->text(row, "size");
        out.push_back(std::move(spool));
    }
    return out;
}

Result<std::vector<AskedLook>> load_asked_looks(const std::filesystem::path& path) {
    return load<std::vector<AskedLook>>(path, read_asked_looks);
}

Result<Palette> load_offer(const std::filesystem::path& path) { return load<Palette>(path, read_offer); }

}  // namespace bindhue::capture

#include "shop/spool_file.hpp"

#include <algorithm>
#include <unordered_set>
#include <utility>

#include "shop/atomic_file.hpp"
#include "shop/json_text.hpp"
#include "shop/matrix_json.hpp"

namespace bindhue::capture {
namespace {

constexpr std::string_view format = "bindhue-spools";
constexpr std::size_t most_spools = 1'000'000, most_readings = 10'000;

std::string text_or_empty(const JsonCursor& object, std::string_view field) {
    const auto found = object.find(field);
    return found ? found->text() : std::string();
}

// The library's verdict on a value, told with its place in the file.
void pass_on(const Status& status, const JsonCursor& at) {
    if (!status) at.fail(status.error().reason, status.error().what, status.error().mend);
}

void read_reading(const JsonCursor& at, SpoolEntry& entry) {
    Reading reading;
    const JsonCursor lab = at["lab"];
    lab.size(3, 3);
    reading.lab = {lab[0].number(0, 110), lab[1].number(-200, 200), lab[2].number(-200, 200)};
    const JsonCursor covariance = at["covariance"];
    reading.covariance = matrix_at(covariance);
    if (const auto shared = at.find("shared")) reading.shared = matrix_at(*shared);
    reading.context = {text_or_empty(at, "camera"), text_or_empty(at, "card"), text_or_empty(at, "light")};
    if (!at.failed()) pass_on(validate(reading), covariance);
    entry.spool.readings.push_back(std::move(reading));
    entry.notes.push_back(
        {text_or_empty(at, "source"), text_or_empty(at, "date"),
         at.unknown({"lab", "covariance", "shared", "camera", "card", "light", "source", "date"})});
}

SpoolEntry read_spool(const JsonCursor& at) {
    SpoolEntry entry;
    Spool& spool = entry.spool;
    const JsonCursor code = at["code"];
    spool.code = code.text();
    if (spool.code.empty())
        code.fail(Reason::bad_value, "The code is empty.", "Give each spool a code of its own.");
    spool.name = text_or_empty(at, "name");
    const JsonCursor material = at["material"];
    const std::string material_name = material.text();
    if (const Result<Material> known = parse_material(material_name))
        spool.material = *known;
    else
        material.fail(known.error().reason, known.error().what, known.error().mend);
    spool.size = text_or_empty(at, "size");
    spool.size_mm = at["size_mm"].number(min_thread_mm, max_thread_mm);
    spool.lot = text_or_empty(at, "lot");
    if (const auto metres = at.find("metres_left")) entry.metres_left = metres->number(0, 1e6);
    const JsonCursor readings = at["readings"];
    const std::size_t n = readings.size(1, most_readings);
    for (std::size_t i = 0; i < n && !at.failed(); ++i) read_reading(readings[i], entry);
    entry.unknown = at.unknown({"code", "name", "material", "size", "size_mm", "lot", "metres_left", "readings"});
    return entry;
}

Json reading_json(const Reading& reading, const ReadingNote& note) {
    Json out;
    out["lab"] = reading.lab.vector();
    out["covariance"] = matrix_json(reading.covariance);
    if (reading.shared.m != Matrix3{}.m) out["shared"] = matrix_json(reading.shared);
    out["camera"] = reading.context.camera;
    out["card"] = reading.context.card;
    out["light"] = reading.context.light;
    out["source"] = note.source;
    out["date"] = note.date;
    add_unknown(out, note.unknown);
    return out;
}

Json spool_json(const SpoolEntry& entry) {
    const Spool& spool = entry.spool;
    Json out{{"code", spool.code}, {"name", spool.name}, {"material", name(spool.material)}};
    out["size"] = spool.size;
    out["size_mm"] = spool.size_mm;
    out["lot"] = spool.lot;
    if (entry.metres_left) out["metres_left"] = *entry.metres_left;
    add_unknown(out, entry.unknown);
    for (std::size_t i = 0; i < spool.readings.size(); ++i)
        out["readings"].push_back(
            reading_json(spool.readings[i], i < entry.notes.size() ? entry.notes[i] : ReadingNote{}));
    return out;
}

}  // namespace

Palette SpoolFile::palette() const {
    Palette out;
    out.reserve(entries.size());
    for (const SpoolEntry& entry : entries) out.push_back(entry.spool);
    return out;
}

SpoolEntry* SpoolFile::find(std::string_view code) {
    const auto found = std::find_if(entries.begin(), entries.end(),
                                    [&](const SpoolEntry& entry) { return entry.spool.code == code; });
    return found == entries.end() ? nullptr : &*found;
}

Result<SpoolFile> read_spool_file(std::string_view text, const std::string& where) {
    const Result<Json> json = parse_json(text, where);
    if (!json) return json.error();
    JsonCursor::Document document{where, std::nullopt};
    const JsonCursor root(*json, document);
    check_format(root, format);
    SpoolFile file;
    file.note = text_or_empty(root, "note");
    const JsonCursor spools = root["spools"];
    const std::size_t n = spools.size(0, most_spools);
    std::unordered_set<std::string> codes;
    for (std::size_t i = 0; i < n && !root.failed(); ++i) {
        file.entries.push_back(read_spool(spools[i]));
        if (!codes.insert(file.entries.back().spool.code).second)
            spools[i].fail(Reason::bad_value, "Spool " + file.entries.back().spool.code + " is there twice.",
                           "Another lot, material or size is another spool: give it another code.");
    }
    file.unknown = root.unknown({"format", "version", "note", "spools"});
    if (document.error) return *document.error;
    return file;
}

Result<std::string> write_spool_file(const SpoolFile& file) {
    if (const Status status = validate(file.palette()); !status) return status.error();
    if (file.entries.size() > most_spools)
        return Error{Reason::bad_value, "The rack would have more than 1,000,000 spools.", "", "Divide it among several shops."};
    for (const SpoolEntry& entry : file.entries)
        if (entry.spool.readings.size() > most_readings)
            return Error{Reason::bad_value, "The spool would have more than 10,000 readings.", "spool " + entry.spool.code,
                         "Keep the newest."};
    Json root{{"format", format}, {"version", 1}, {"note", file.note}};
    add_unknown(root, file.unknown);
    root["spools"] = Json::array();
    for (const SpoolEntry& entry : file.entries) root["spools"].push_back(spool_json(entry));
    Result<std::string> text = to_text(root);
    if (text && text->size() > largest_json_bytes)
        return Error{Reason::bad_value, "The rack would be larger than 64 MiB.", "", "Divide it among several shops."};
    return text;
}

Result<SpoolFile> load_spool_file(const std::filesystem::path& path) {
    const Result<std::string> text = read_file(path);
    if (!text) return text.error();
    return read_spool_file(*text, path.string());
}

Status save_spool_file(const std::filesystem::path& path, const SpoolFile& file) {
    const Result<std::string> text = write_spool_file(file);
    if (!text) return text.error();
    return save_file(path, *text);
}

}  // namespace bindhue::capture

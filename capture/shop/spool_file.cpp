#include "shop/spool_file.hpp"

#include <algorithm>
#include <unordered_set>
#include <utility>

#include "shop/atomic_file.hpp"
#include "shop/colour_json.hpp"
#include "shop/formats.hpp"

namespace bindhue::capture {
namespace {

constexpr std::size_t most_spools = 1'000'000, most_readings = 10'000;

NotedReading read_reading(const JsonCursor& at) {
    Reading reading;
    reading.lab = lab_at(at["lab"]);
    const JsonCursor covariance = at["covariance"];
    reading.covariance = covariance_at(covariance);
    if (const auto shared = at.find("shared")) reading.shared = covariance_at(*shared);
    reading.context = {at.text_or_empty("camera"), at.text_or_empty("card"), at.text_or_empty("light")};
    if (!at.failed()) covariance.check(validate(reading));
    return {std::move(reading),
            {at.text_or_empty("source"), at.text_or_empty("date"),
             at.unknown({"lab", "covariance", "shared", "camera", "card", "light", "source", "date"})}};
}

LayerOpacity read_opacity(const JsonCursor& at, ReadingNote& note) {
    const LayerOpacity out{at["scattering"].number(0.01, 100), at["log_sd"].number(0.01, 3)};
    note = {at.text_or_empty("source"), at.text_or_empty("date"), at.unknown({"scattering", "log_sd", "source", "date"})};
    return out;
}

SpoolEntry read_spool(const JsonCursor& at) {
    SpoolEntry entry;
    Spool& spool = entry.spool;
    const JsonCursor code = at["code"];
    spool.code = code.text();
    if (spool.code.empty())
        code.fail(Reason::bad_value, "The code is empty.", "Give each spool a code of its own.");
    spool.name = at.text_or_empty("name");
    spool.material = at["material"].word(parse_material);
    spool.size = at.text_or_empty("size");
    spool.size_mm = at["size_mm"].number(min_thread_mm, max_thread_mm);
    spool.lot = at.text_or_empty("lot");
    if (const auto metres = at.find("metres_left")) entry.metres_left = metres->number(0, 1e6);
    if (const auto opacity = at.find("opacity")) spool.opacity = read_opacity(*opacity, entry.opacity_note);
    const JsonCursor readings = at["readings"];
    const std::size_t n = readings.size(1, most_readings);
    for (std::size_t i = 0; i < n && !at.failed(); ++i) {
        NotedReading read = read_reading(readings[i]);
        spool.readings.push_back(std::move(read.reading));
        entry.notes.push_back(std::move(read.note));
    }
    if (const auto past = at.find("past_readings"))
        for (std::size_t i = 0, m = past->size(0, most_readings); i < m && !at.failed(); ++i) entry.past.push_back(read_reading((*past)[i]));
    entry.unknown = at.unknown({"code", "name", "material", "size", "size_mm", "lot", "metres_left", "opacity", "readings", "past_readings"});
    return entry;
}

// What is empty is left out: in a large rack that is a fifth of the file.
void add_text(Json& object, const char* field, const std::string& text) {
    if (!text.empty()) object[field] = text;
}

Json reading_json(const Reading& reading, const ReadingNote& note) {
    Json out;
    out["lab"] = reading.lab.vector();
    out["covariance"] = covariance_json(reading.covariance);
    if (reading.shared.m != Matrix3{}.m) out["shared"] = covariance_json(reading.shared);
    add_text(out, "camera", reading.context.camera);
    add_text(out, "card", reading.context.card);
    add_text(out, "light", reading.context.light);
    add_text(out, "source", note.source);
    add_text(out, "date", note.date);
    add_unknown(out, note.unknown);
    return out;
}

Json spool_json(const SpoolEntry& entry) {
    const Spool& spool = entry.spool;
    Json out{{"code", spool.code}};
    add_text(out, "name", spool.name);
    out["material"] = name(spool.material);
    add_text(out, "size", spool.size);
    out["size_mm"] = spool.size_mm;
    add_text(out, "lot", spool.lot);
    if (entry.metres_left) out["metres_left"] = *entry.metres_left;
    if (spool.opacity) {
        Json& opacity = out["opacity"];
        opacity["scattering"] = spool.opacity->scattering;
        opacity["log_sd"] = spool.opacity->log_sd;
        add_text(opacity, "source", entry.opacity_note.source);
        add_text(opacity, "date", entry.opacity_note.date);
        add_unknown(opacity, entry.opacity_note.unknown);
    }
    add_unknown(out, entry.unknown);
    for (std::size_t i = 0; i < spool.readings.size(); ++i)
        out["readings"].push_back(
            reading_json(spool.readings[i], i < entry.notes.size() ? entry.notes[i] : ReadingNote{}));
    for (const NotedReading& past : entry.past) out["past_readings"].push_back(reading_json(past.reading, past.note));
    return out;
}

}  // namespace

Palette SpoolFile::palette() const {
    Palette out;
    out.reserve(entries.size());
    for (const SpoolEntry& entry : entries) out.push_back(entry.spool);
    return out;
}

const SpoolEntry* SpoolFile::find(std::string_view code) const {
    const auto found = std::find_if(entries.begin(), entries.end(),
                                    [&](const SpoolEntry& entry) { return entry.spool.code == code; });
    return found == entries.end() ? nullptr : &*found;
}
SpoolEntry* SpoolFile::find(std::string_view code) { return const_cast<SpoolEntry*>(std::as_const(*this).find(code)); }

Result<SpoolFile> read_spool_file(std::string_view text, const std::string& where) {
    Result<JsonDocument> document = read_format(text, where, spools_format);
    if (!document) return document.error();
    const JsonCursor root = document->root();
    SpoolFile file;
    file.note = root.text_or_empty("note");
    const JsonCursor spools = root["spools"];
    const std::size_t n = spools.size(0, most_spools);
    file.entries.reserve(n);
    std::unordered_set<std::string_view> codes;  // each entry's own, which stays where it is
    codes.reserve(n);
    for (std::size_t i = 0; i < n && !root.failed(); ++i) {
        file.entries.push_back(read_spool(spools[i]));
        if (!codes.insert(file.entries.back().spool.code).second)
            spools[i].fail(Reason::bad_value, "Spool " + file.entries.back().spool.code + " is there twice.",
                           "Another lot, material or size is another spool: give it another code.");
    }
    file.unknown = root.unknown({"format", "version", "note", "spools"});
    if (document->error()) return *document->error();
    return file;
}

Result<std::string> write_spool_file(const SpoolFile& file) {
    if (const Status status = validate(file.palette()); !status) return status.error();
    if (file.entries.size() > most_spools)
        return Error{Reason::bad_value, "The rack would have more than 1,000,000 spools.", "", "Divide it among several shops."};
    for (const SpoolEntry& entry : file.entries) {
        for (const NotedReading& past : entry.past)
            if (const Status status = validate(past.reading); !status)
                return Error{status.error().reason, status.error().what, "spool " + entry.spool.code, status.error().mend};
        if (std::max(entry.spool.readings.size(), entry.past.size()) > most_readings)
            return Error{Reason::bad_value, "The spool would have more than 10,000 readings.", "spool " + entry.spool.code,
                         "Keep the newest."};
    }
    Json root = opening(spools_format);
    add_text(root, "note", file.note);
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
    return save_in_format(path, *text, spools_format);
}

}  // namespace bindhue::capture

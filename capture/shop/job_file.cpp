#include "shop/job_file.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <unordered_set>

#include "shop/atomic_file.hpp"
#include "shop/colour_json.hpp"
#include "shop/formats.hpp"
#include "shop/grounds.hpp"

namespace bindhue::capture {
namespace {

namespace fs = std::filesystem;

constexpr int most_bands = 10'000;
constexpr std::size_t most_photos = 1000, most_jobs = 100'000;
constexpr double most_metres = 1e6;
constexpr std::array states{"open", "taking", "done"};

bool is_name(std::string_view name) {
    const auto plain = [](char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9'); };
    return !name.empty() && name.size() <= 64 && plain(name[0]) &&
           std::all_of(name.begin(), name.end(), [&](char c) { return plain(c) || c == '-' || c == '_'; });
}

// A file of the job's own folder and of no other.
bool is_file_name(std::string_view name) {
    return !name.empty() && name.size() <= 255 && name[0] != '.' &&
           std::none_of(name.begin(), name.end(), [](char c) { return c == '/' || c == '\\' || c == '\0'; });
}

Error bad_name(const std::string& name) {
    return {Reason::bad_value, "\"" + name + "\" is no name for a job.", "",
            "Use letters, digits, - and _, at most 64, and begin with a letter or a digit."};
}

WantedBand read_band(const JsonCursor& at) {
    WantedBand band;
    band.spool = at.text_or_empty("spool");
    if (const auto schedule = at.find("schedule")) band.schedule = schedule->word(parse_schedule);
    Winding& w = band.winding;
    w.width_mm = at["width_mm"].number(0, 2000);
    w.diameter_mm = at["diameter_mm"].number(0, 200);
    w.pitch_mm = at["pitch_mm"].number(0.02, 5);
    w.thread_mm = at["thread_mm"].number(0.05, 1);
    if (const auto under = at.find("underwrap_mm")) w.underwrap_mm = under->number(0, 1);
    if (const auto layers = at.find("layers")) w.layers = layers->integer(1, 4);
    if (const auto count = at.find("count")) band.count = count->integer(1, 1000);
    band.ground = at.text_or_empty("ground");
    if (!band.ground.empty()) at.check(check_ground(band.ground));
    if (const auto replaces = at.find("replaces")) band.replaces = replaces->integer(1, most_bands);
    if (const auto finish = at.find("old_finish")) band.old_finish = amber_at(*finish);
    if (!at.failed()) at.check(validate(w));
    return band;
}

Json band_json(const WantedBand& band, const std::string& unknown) {
    Json out;
    out["spool"] = band.spool;
    if (band.schedule) out["schedule"] = name(*band.schedule);
    const Winding& w = band.winding;
    out["width_mm"] = w.width_mm;
    out["diameter_mm"] = w.diameter_mm;
    out["pitch_mm"] = w.pitch_mm;
    out["thread_mm"] = w.thread_mm;
    out["underwrap_mm"] = w.underwrap_mm;
    out["layers"] = w.layers;
    out["count"] = band.count;
    if (!band.ground.empty()) out["ground"] = band.ground;
    if (band.replaces > 0) out["replaces"] = band.replaces;
    if (band.old_finish) out["old_finish"] = amber_json(*band.old_finish);
    add_unknown(out, unknown);
    return out;
}

Status save_job(const Shop& shop, const JobFile& file) {
    const Result<std::string> text = write_job(file);
    if (!text) return text.error();
    return save_in_format(job_folder(shop, file.name) / "job.json", *text, job_format);
}

// What the job will take off each spool whose length is known.
Result<std::vector<TakenThread>> planned(SpoolFile& rack, const JobFile& file) {
    std::vector<TakenThread> out;
    for (const auto& [code, metres] : takes(file.job).metres) {
        if (code.empty()) continue;
        const SpoolEntry* spool = rack.find(code);
        if (spool == nullptr)
            return Error{Reason::not_found, "No spool has the code \"" + code + "\".", "job " + file.name,
                         "See bindhue spool list, and correct the job's job.json."};
        if (spool->metres_left)
            out.push_back({code, *spool->metres_left, std::max(0.0, *spool->metres_left - metres)});
    }
    return out;
}

}  // namespace

Result<JobFile> read_job(std::string_view text, const std::string& where) {
    Result<JsonDocument> document = read_format(text, where, job_format);
    if (!document) return document.error();
    const JsonCursor root = document->root();
    JobFile file;
    const JsonCursor job_name = root["name"];
    file.name = job_name.text();
    if (!is_name(file.name)) job_name.check(bad_name(file.name));
    file.date = root.text_or_empty("date");
    file.note = root.text_or_empty("note");
    const JsonCursor state = root["state"];
    const auto known = std::find(states.begin(), states.end(), state.text());
    if (known == states.end())
        state.fail(Reason::bad_value, "This is no state of a job.", "Write open, taking or done.");
    else
        file.state = static_cast<JobState>(known - states.begin());
    if (const auto coats = root.find("coats")) file.job.coats = coats->integer(1, 10);
    if (const auto film = root.find("film_mm")) file.job.film_mm = film->number(0.01, 2);
    if (const auto one = root.find("one_guide")) file.job.one_guide = one->boolean();
    const JsonCursor bands = root["bands"];
    const std::size_t n = bands.size(1, most_bands);
    for (std::size_t i = 0; i < n && !root.failed(); ++i) {
        file.job.bands.push_back(read_band(bands[i]));
        file.unknown_in_bands.push_back(bands[i].unknown({"spool", "schedule", "width_mm", "diameter_mm", "pitch_mm", "thread_mm",
                                                          "underwrap_mm", "layers", "count", "ground", "replaces", "old_finish"}));
    }
    if (const auto photos = root.find("photos")) {
        const std::size_t count = photos->size(0, most_photos);
        for (std::size_t i = 0; i < count && !root.failed(); ++i) {
            const JsonCursor photo = (*photos)[i];
            file.photos.push_back(photo.text());
            if (!is_file_name(file.photos.back()))
                photo.fail(Reason::bad_value, "This is no name of a file in the job's folder.", "Write the name without a folder.");
        }
    }
    if (const auto taken = root.find("taken")) {
        const std::size_t count = taken->size(0, most_bands);
        for (std::size_t i = 0; i < count && !root.failed(); ++i) {
            const JsonCursor at = (*taken)[i];
            file.taken.push_back({at["spool"].text(), at["before_m"].number(0, most_metres), at["after_m"].number(0, most_metres)});
        }
    }
    file.unknown = root.unknown({"format", "version", "name", "date", "note", "state", "coats", "film_mm", "one_guide", "bands",
                                 "photos", "taken"});
    if (document->error()) return *document->error();
    return file;
}

Result<std::string> write_job(const JobFile& file) {
    Json root = opening(job_format);
    root["name"] = file.name;
    root["date"] = file.date;
    root["note"] = file.note;
    root["state"] = states[static_cast<std::size_t>(file.state)];
    root["coats"] = file.job.coats;
    root["film_mm"] = file.job.film_mm;
    root["one_guide"] = file.job.one_guide;
    add_unknown(root, file.unknown);
    root["bands"] = Json::array();
    for (std::size_t i = 0; i < file.job.bands.size(); ++i)
        root["bands"].push_back(
            band_json(file.job.bands[i], i < file.unknown_in_bands.size() ? file.unknown_in_bands[i] : std::string()));
    root["photos"] = file.photos;
    root["taken"] = Json::array();
    for (const TakenThread& t : file.taken)
        root["taken"].push_back(Json{{"spool", t.spool}, {"before_m", t.before_m}, {"after_m", t.after_m}});
    return to_text(root);
}

fs::path job_folder(const Shop& shop, const std::string& name) { return shop.folder() / "jobs" / name; }

Result<JobFile> load_job(const Shop& shop, const std::string& name) {
    if (!is_name(name)) return bad_name(name);
    const fs::path path = job_folder(shop, name) / "job.json";
    const Result<std::string> text = read_file(path);
    if (!text && text.error().reason == Reason::not_found)
        return Error{Reason::not_found, "There is no job \"" + name + "\".", path.string(), "See bindhue job show."};
    if (!text) return text.error();
    Result<JobFile> file = read_job(*text, path.string());
    if (file && file->name != name)
        return Error{Reason::bad_value, "The job calls itself \"" + file->name + "\", but lies in the folder of \"" + name + "\".",
                     path.string(), "Rename the folder or correct the name."};
    return file;
}

Result<std::vector<JobFile>> load_jobs(const Shop& shop) {
    std::vector<std::string> names;
    std::error_code code;
    const fs::path folder = shop.folder() / "jobs";
    fs::directory_iterator at(folder, code);
    if (code == std::errc::no_such_file_or_directory) return std::vector<JobFile>{};
    for (; !code && at != fs::directory_iterator(); at.increment(code)) {
        std::string name = at->path().filename().string();
        if (is_name(name)) names.push_back(std::move(name));
        if (names.size() > most_jobs)
            return Error{Reason::bad_value, "There are more than 100,000 jobs.", folder.string(), "Put old ones elsewhere."};
    }
    if (code)
        return Error{Reason::storage, "The folder cannot be read: " + code.message() + ".", folder.string(),
                     "Correct the permissions."};
    std::sort(names.begin(), names.end());
    std::vector<JobFile> out;
    for (const std::string& name : names) {
        Result<JobFile> file = load_job(shop, name);
        if (!file) return file.error();
        out.push_back(std::move(*file));
    }
    return out;
}

Result<SpoolFile> rack_for(const Job& job, const std::function<Result<SpoolFile>()>& rack, const std::string& where) {
    if (std::all_of(job.bands.begin(), job.bands.end(), [](const WantedBand& b) { return b.spool.empty() && underwrap_spool(b).empty(); })) return SpoolFile{};
    Result<SpoolFile> out = rack();
    if (!out) return out;
    for (const WantedBand& band : job.bands)
        for (const std::string& code : {band.spool, underwrap_spool(band)})
            if (!code.empty() && out->find(code) == nullptr)
                return Error{Reason::not_found, "no spool has the code \"" + code + "\"", where, "see bindhue spool list"};
    return out;
}

std::map<std::string, double> thread_for_open_jobs(const std::vector<JobFile>& jobs) {
    std::map<std::string, double> out;
    for (const JobFile& file : jobs) {
        if (file.state != JobState::open) continue;
        for (const auto& [code, metres] : takes(file.job).metres)
            if (!code.empty()) out[code] += metres;
    }
    return out;
}

Status create_job(const Shop& shop, const JobFile& file, const std::vector<PhotoCopy>& photos, const std::string& reading) {
    if (!is_name(file.name)) return bad_name(file.name);
    const Result<std::string> text = write_job(file);
    if (!text) return text.error();
    const fs::path target = job_folder(shop, file.name), beside = shop.folder() / "jobs" / ("." + file.name + ".saving");
    std::error_code code;
    if (fs::exists(fs::symlink_status(target, code)))
        return Error{Reason::bad_value, "There is a job \"" + file.name + "\" already.", target.string(), "Choose another name."};
    const auto stored = [&](const char* what) -> Status {
        return Error{Reason::storage, std::string(what) + " (" + code.message() + ".)", target.string(),
                     "Check the disk and the permissions, and try again."};
    };
    fs::remove_all(beside, code);  // of a run that was cut off: never a job
    fs::create_directories(beside, code);
    if (code) return stored("The job's folder cannot be made.");
    Status status = save_file(beside / "job.json", *text, Previous::forgotten);
    if (status && !reading.empty()) status = save_file(beside / "reading.json", reading, Previous::forgotten);
    for (const PhotoCopy& photo : photos)
        if (status) status = save_file(beside / photo.name, photo.bytes, Previous::forgotten);
    if (status) {
        fs::rename(beside, target, code);
        if (code) status = stored("The job's folder cannot be put in its place.");
    }
    if (!status) fs::remove_all(beside, code);
    return status;
}

Result<JobFile> finish_job(const Shop& shop, const std::string& name) {
    Result<JobFile> file = load_job(shop, name);
    if (!file) return file;
    if (file->state == JobState::done)
        return Error{Reason::bad_value, "The job \"" + name + "\" is done already: its thread was taken off the spools.", "",
                     "To wrap it again, make another job."};
    Result<SpoolFile> rack = shop.spools();
    if (!rack) return rack.error();
    if (file->state == JobState::open) {
        Result<std::vector<TakenThread>> plan = planned(*rack, *file);
        if (!plan) return plan.error();
        file->taken = std::move(*plan);
        file->state = JobState::taking;
        if (const Status saved = save_job(shop, *file); !saved) return saved.error();
    }
    bool change = false;
    for (const TakenThread& t : file->taken) {
        SpoolEntry* spool = rack->find(t.spool);
        if (spool == nullptr || !spool->metres_left || (*spool->metres_left != t.before_m && *spool->metres_left != t.after_m))
            return Error{Reason::bad_value,
                         "While this job's thread was being taken, spool " + t.spool + " was changed: " + std::to_string(t.before_m) +
                             " or " + std::to_string(t.after_m) + " m were expected on it.",
                         "job " + name, "Set what is left on that spool to one of them, and try again."};
        change = change || *spool->metres_left != t.after_m;
        spool->metres_left = t.after_m;
    }
    if (change)
        if (const Status saved = shop.save(*rack); !saved) return saved.error();
    file->state = JobState::done;
    if (const Status saved = save_job(shop, *file); !saved) return saved.error();
    return file;
}

}  // namespace bindhue::capture

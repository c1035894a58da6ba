#include "bench/job_answer.hpp"

#include <algorithm>
#include <functional>
#include <optional>
#include <string_view>

#include "reading/reading_json.hpp"
#include "sheet/customer_note.hpp"
#include "sheet/job_sheet.hpp"
#include "shop/atomic_file.hpp"
#include "shop/colour_json.hpp"
#include "shop/grounds.hpp"
#include "shop/json_text.hpp"
#include "shop/numbers.hpp"
#include "shop/shop.hpp"
#include "shop/today.hpp"

namespace bindhue::capture::bench {
namespace {

constexpr std::size_t most_wraps = 30, longest_name = 100;
constexpr double usual_blank_mm = 8;  // where the photo showed no rod, so that there is something to draw

Error not_known(int band, const char* what) {
    return {Reason::bad_value, std::string("the ") + what + " of band " + std::to_string(band) + " is not known: it was not read", "wrap",
            "write it beside the wrap on the job sheet"};
}

Result<WantedBand> wanted(const std::string& text, const WrapReading& reading, const SpoolFile& spools) {
    Result<JsonDocument> document = JsonDocument::parse(text, "a wrap of the sheet");
    if (!document) return document.error();
    const JsonCursor at = document->root();
    WantedBand out;
    out.replaces = at["band"].integer(1, static_cast<int>(reading.bands.size()));
    out.spool = at["spool"].text();
    out.schedule = at["schedule"].word(parse_schedule);
    out.ground = at.text_or_empty("ground");
    if (!out.ground.empty()) at.check(check_ground(out.ground));
    if (const auto finish = at.find("old_finish")) out.old_finish = amber_at(*finish);
    const auto given = [&](const char* name) { return at.find(name) ? std::optional(at[name].number(0, 2000)) : std::nullopt; };
    const auto width = given("width_mm"), diameter = given("diameter_mm");
    if (const auto count = at.find("count")) out.count = count->integer(1, 1000);
    if (document->error()) return *document->error();

    const std::string under = underwrap_spool(out);
    const SpoolEntry *spool = spools.find(out.spool), *beneath = under.empty() ? spool : spools.find(under);
    if (spool == nullptr || beneath == nullptr)
        return Error{Reason::not_found, "the rack has no spool of that code any more", "wrap", "load the page again"};
    const BandReading& band = reading.bands[static_cast<std::size_t>(out.replaces) - 1];
    if (!width && !(band.length_mm > 0)) return not_known(out.replaces, "width");
    if (!diameter && !reading.blank_diameter_mm) return not_known(out.replaces, "blank's diameter");
    out.winding.width_mm = width.value_or(band.length_mm);
    out.winding.diameter_mm = diameter ? *diameter : *reading.blank_diameter_mm;
    out.winding.thread_mm = spool->spool.size_mm;
    out.winding.pitch_mm = band.pitch_mm.value_or(spool->spool.size_mm);
    out.winding.underwrap_mm = !under.empty() || out.ground == "white" ? beneath->spool.size_mm : 0;
    if (const Status valid = validate(out.winding); !valid) return valid.error();
    return out;
}

std::string field(const Query& query, const char* name) {
    const auto at = query.find(name);
    return at == query.end() ? "" : at->second;
}

Result<Job> chosen(const WrapReading& reading, const SpoolFile& rack, const Query& query) {
    Job out;
    const auto [first, last] = query.equal_range("wrap");
    for (auto at = first; at != last; ++at) {
        if (out.bands.size() == most_wraps)
            return Error{Reason::bad_value, "more than 30 wraps are on the sheet", "wrap", "make two sheets"};
        const Result<WantedBand> band = wanted(at->second, reading, rack);
        if (!band) return band.error();
        out.bands.push_back(*band);
    }
    if (const std::string coats = field(query, "coats"); !coats.empty()) {
        const auto number = whole_number(coats);
        if (!number || *number < 1 || *number > 10) return Error{Reason::bad_value, "the coats are no number from 1 to 10", "coats", "two are usual"};
        out.coats = static_cast<int>(*number);
    }
    out.one_guide = field(query, "one_guide") == "1";
    if (out.bands.empty()) return Error{Reason::bad_value, "no wrap is on the sheet", "wrap", "put a spool on it first"};
    return out;
}

Answer rod_answer(const std::vector<OldBand>& bands) {
    Answer out{{"blank_diameter_mm", bands.front().diameter_mm}, {"bands", Answer::array()}};
    for (const OldBand& band : bands)
        out["bands"].push_back({{"start_mm", band.start_mm},
                                {"length_mm", band.length_mm},
                                {"role", band.is_blank ? "blank" : "wrap"},
                                {"lab", to_json(band.lab)},
                                {"screen", on_screen(band.lab)}});
    return out;
}

Answer job_row(const Shop& shop, const JobFile& file, const std::function<Result<SpoolFile>()>& rack) {
    Answer out{{"name", file.name}, {"date", file.date}, {"note", file.note}, {"done", file.state == JobState::done}};
    out["photos"] = file.photos;
    out["wraps"] = Answer::array();
    for (const WantedBand& band : file.job.bands) {
        Answer row{{"spool", band.spool}, {"schedule", nullptr}, {"width_mm", band.winding.width_mm}, {"count", band.count}, {"ground", band.ground}};
        if (band.schedule) row["schedule"] = name(*band.schedule);
        out["wraps"].push_back(std::move(row));
    }
    double metres = 0;
    for (const auto& [spool, m] : takes(file.job).metres) metres += m;
    out["metres"] = metres;
    out["rod"] = nullptr;
    out["trouble"] = nullptr;
    const Result<JobSheet> sheet = load_job_sheet(shop, file, rack);
    out["date_said"] = sheet ? date_of(sheet->settings, file.date) : file.date;
    if (!sheet)
        out["trouble"] = error_answer(sheet.error());
    else if (!sheet->old_rod.empty())
        out["rod"] = rod_answer(sheet->old_rod);
    return out;
}

}  // namespace

Result<std::string> sheet_answer(const WrapReading& reading, const std::filesystem::path& shop, const Query& query) {
    const Result<Shop> opened = Shop::open(shop, Access::read);
    if (!opened) return opened.error();
    Result<SpoolFile> rack = opened->spools();
    if (!rack) return rack.error();
    Result<Settings> settings = load_settings(*opened);
    if (!settings) return settings.error();
    JobSheet sheet;
    sheet.rack = std::move(*rack);
    sheet.settings = std::move(*settings);
    Result<Job> job = chosen(reading, sheet.rack, query);
    if (!job) return job.error();
    sheet.file.job = std::move(*job);
    const std::string name = field(query, "name");
    sheet.file.name = name.empty() ? "at the bench" : name.substr(0, longest_name);
    sheet.file.date = today();
    for (const BandReading& band : reading.bands)
        sheet.old_rod.push_back({band.start_mm, band.length_mm, reading.blank_diameter_mm.value_or(usual_blank_mm),
                                 band.role == BandRole::blank, band.colour.lab});
    return job_sheet_html(sheet);
}

Result<Answer> keep_job(const DoneReading& done, const std::filesystem::path& shop, const Query& query) {
    const Result<SpoolFile> rack = load_spools(shop);
    if (!rack) return rack.error();
    Result<Job> job = chosen(done.reading, *rack, query);
    if (!job) return job.error();
    JobFile file;
    file.name = field(query, "name");
    file.date = today();
    file.note = field(query, "note");
    file.job = std::move(*job);
    std::vector<PhotoCopy> copies;
    for (const auto& photo : done.photos) {
        copies.push_back({"photo-" + std::to_string(copies.size() + 1) + std::string(usual_ending(photo->bytes)),
                          std::string(photo->bytes.begin(), photo->bytes.end())});
        file.photos.push_back(copies.back().name);
    }
    const std::vector<std::string> of_wrap = file.photos;
    for (std::size_t i = 0; i < done.elsewhere.size(); ++i) {
        const SentPhoto& photo = *done.elsewhere[i].photo;
        copies.push_back({"elsewhere-" + std::to_string(i + 1) + std::string(usual_ending(photo.bytes)), std::string(photo.bytes.begin(), photo.bytes.end())});
        file.photos.push_back(copies.back().name);
    }
    WrapReading reading = done.reading;  // by the names that its photos have in the job's folder
    reading.photo = file.photos.front();
    if (!reading.photos.empty()) reading.photos = of_wrap;
    const Result<Shop> opened = Shop::open(shop, Access::change);
    if (!opened) return opened.error();
    if (const Status made = create_job(*opened, file, copies, to_json(reading).dump(1) + "\n"); !made) return made.error();
    Answer out = opening("bindhue-bench-job");
    out["name"] = file.name;
    return out;
}

Result<Answer> jobs_answer(const std::filesystem::path& shop) {
    constexpr std::size_t most_shown = 100;
    const Result<Shop> opened = Shop::open(shop, Access::read);
    if (!opened) return opened.error();
    Result<std::vector<JobFile>> jobs = load_jobs(*opened);
    if (!jobs) return jobs.error();
    std::stable_sort(jobs->begin(), jobs->end(), [](const JobFile& a, const JobFile& b) { return a.date > b.date; });
    Answer out = opening("bindhue-bench-jobs");
    out["jobs"] = Answer::array();
    // Read once for all of them, and not at all for jobs that name no spool.
    std::optional<Result<SpoolFile>> rack;
    const auto the_rack = [&] {
        if (!rack) rack = opened->spools();
        return *rack;
    };
    for (std::size_t i = 0; i < std::min(most_shown, jobs->size()); ++i) out["jobs"].push_back(job_row(*opened, (*jobs)[i], the_rack));
    out["left_off"] = jobs->size() - out["jobs"].size();
    return out;
}

Result<std::string> kept_sheet(const std::filesystem::path& shop, const std::string& job) {
    const Result<Shop> opened = Shop::open(shop, Access::read);
    if (!opened) return opened.error();
    const Result<JobSheet> sheet = load_job_sheet(*opened, job);
    if (!sheet) return sheet.error();
    return job_sheet_html(*sheet);
}

Result<std::string> kept_note(const std::filesystem::path& shop, const std::string& job) {
    const Result<Shop> opened = Shop::open(shop, Access::read);
    if (!opened) return opened.error();
    const Result<CustomerNote> note = load_customer_note(*opened, job);
    if (!note) return note.error();
    return customer_note_html(*note);
}

Result<KeptPhoto> kept_photo(const std::filesystem::path& shop, const std::string& job, std::size_t number) {
    const Result<Shop> opened = Shop::open(shop, Access::read);
    if (!opened) return opened.error();
    const Result<JobFile> file = load_job(*opened, job);
    if (!file) return file.error();
    if (number < 1 || number > file->photos.size())
        return Error{Reason::not_found, "the job has no such photo", job, "load the page again"};
    const std::string& name = file->photos[number - 1];
    Result<std::string> bytes = read_file(job_folder(*opened, job) / name);
    if (!bytes) return bytes.error();
    KeptPhoto out{name, std::move(*bytes), ""};
    const std::string_view ending = usual_ending({reinterpret_cast<const std::uint8_t*>(out.bytes.data()), out.bytes.size()});
    if (ending == ".jpg") out.type = "image/jpeg";
    if (ending == ".png") out.type = "image/png";
    return out;
}

}  // namespace bindhue::capture::bench

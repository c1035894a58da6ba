// The jobs of a shop: one folder each, jobs/NAME, with its wraps (job.json, palettes/job.schema.json), its photos and
// what was read on them (reading.json, as `bindhue read --json` prints it).
#pragma once

#include <filesystem>
#include <functional>
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "colour/job.hpp"
#include "colour/result.hpp"
#include "shop/shop.hpp"

namespace bindhue::capture {

enum class JobState {
    open,
    taking,  // its thread is being taken off the spools: finish_job was cut off
    done,
};

// What a job took off a spool.
struct TakenThread {
    std::string spool;
    double before_m = 0, after_m = 0;  // what was left on it
};

struct JobFile {
    std::string name;  // of the folder too: letters, digits, - and _, at most 64, the first a letter or a digit
    std::string date;  // as 2026-11-01
    std::string note;
    JobState state = JobState::open;
    Job job;
    std::vector<std::string> photos;   // names of files in the job's folder
    std::vector<TakenThread> taken;    // of spools whose length was known
    std::vector<std::string> unknown_in_bands;  // JSON objects of fields that are not ours; may be shorter than job.bands
    std::string unknown;
};

struct PhotoCopy {
    std::string name;  // in the job's folder
    std::string bytes;
};

Result<JobFile> read_job(std::string_view text, const std::string& where);
Result<std::string> write_job(const JobFile& file);

std::filesystem::path job_folder(const Shop& shop, const std::string& name);

// By name. Errors: not_found, storage, bad_format, bad_value.
Result<JobFile> load_job(const Shop& shop, const std::string& name);
// All, in the order of their names; of a shop without jobs none.
Result<std::vector<JobFile>> load_jobs(const Shop& shop);

// The rack of a job: one that names no spool needs none. `rack` opens it, `where` names the job in errors. Errors: not_found (a spool that the rack
// does not have), and those of `rack`.
Result<SpoolFile> rack_for(const Job& job, const std::function<Result<SpoolFile>()>& rack, const std::string& where);

// Metres by spool that the jobs which are not done will take, waste and ends with them.
std::map<std::string, double> thread_for_open_jobs(const std::vector<JobFile>& jobs);

// The folder appears whole or not at all. `reading`: text of reading.json, empty if there is none. Precondition: the shop
// is opened for change. Errors: bad_value (the name is none, or taken), storage.
Status create_job(const Shop& shop, const JobFile& file, const std::vector<PhotoCopy>& photos, const std::string& reading);

// Takes the job's thread off the spools whose length is known, once, and marks the job done. Three files are written one
// after the other: first what will be taken, then the spools, then that it is done. Cut off in between, another
// call takes up where it stopped. Precondition: the shop is opened for change. Errors: bad_value (done already; a spool changed in
// between), not_found (the rack has no such spool), storage.
Result<JobFile> finish_job(const Shop& shop, const std::string& name);

}  // namespace bindhue::capture

// What was chosen on the page, as a sheet and as a job of the shop; and the jobs that the shop keeps.
#pragma once

#include <cstddef>
#include <filesystem>
#include <string>

#include "bench/answers.hpp"
#include "colour/result.hpp"

namespace bindhue::capture::bench {

// The sheet of what was chosen, HTML. Query: `name` of the job, and `wrap`, one for each wrap that was chosen, as JSON: {band, spool, schedule} and perhaps
// {ground (as check_ground takes it), width_mm, diameter_mm, count}. Pitch, width and diameter are those that were read where none is given (a region by
// hand has none); perhaps `coats` (1 to 10) and `one_guide` (1: a repair of one guide alone). A pitch that was not read is the thread's diameter. Over white or an underwrap one is wound first, of that spool's thread or of the same
// thickness. Errors: bad_format, bad_value, not_found, storage.
Result<std::string> sheet_answer(const WrapReading& reading, const std::filesystem::path& shop, const Query& query);

// Keeps the same as a job of the shop, with its photos and what was read on them, as `bindhue job new` does. Query: also `note`. Errors: as above.
Result<Answer> keep_job(const DoneReading& done, const std::filesystem::path& shop, const Query& query);

// The shop's jobs, newest first, with what they take and the old rod as read. What a job's files have wrong is said in its row. Errors: storage, and
// what a job.json has wrong.
Result<Answer> jobs_answer(const std::filesystem::path& shop);

// The sheet of a job that is kept. Errors: those of load_job_sheet().
Result<std::string> kept_sheet(const std::filesystem::path& shop, const std::string& job);

// The customer's note of it. Errors: those of load_customer_note().
Result<std::string> kept_note(const std::filesystem::path& shop, const std::string& job);

struct KeptPhoto {
    std::string name, bytes;
    std::string type;  // empty if no browser shows it
};
// number: from 1, as the job has them. Errors: not_found, storage, and what job.json has wrong.
Result<KeptPhoto> kept_photo(const std::filesystem::path& shop, const std::string& job, std::size_t number);

}  // namespace bindhue::capture::bench

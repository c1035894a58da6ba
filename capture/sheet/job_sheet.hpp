// The sheet to pin over the lathe: a job's wraps, what they take, in which order, and what to look out for.
//
// On paper as PDF, on any screen or printer as HTML; both say the same. Colours are printed only to tell bands apart: a
// printer's are no guide to thread.
#pragma once

#include <filesystem>
#include <functional>
#include <string>
#include <vector>

#include "colour/result.hpp"
#include "sheet/card_sheet.hpp"
#include "shop/job_file.hpp"
#include "shop/look_table.hpp"
#include "shop/settings.hpp"
#include "shop/spool_file.hpp"

namespace bindhue::capture {

struct JobSheet {
    JobFile file;
    SpoolFile rack;                // spools that are not in it go by their code
    std::vector<OldBand> old_rod;  // as read on the job's photos; empty if none were
    Settings settings{};           // units, words, waiting times
};

// Of a job that the shop keeps. Errors: not_found (no such job; a spool that the rack does not have), storage, and what a file has wrong.
Result<JobSheet> load_job_sheet(const Shop& shop, const std::string& name);
// The same of a job that was loaded; `open_rack` gives the rack, for whoever shows many jobs and has it.
Result<JobSheet> load_job_sheet(const Shop& shop, JobFile file, const std::function<Result<SpoolFile>()>& open_rack);

// What is done, one after the other. `wait` is empty where nothing has to dry.
struct WorkStep {
    std::string what, wait;
};
std::vector<WorkStep> order_of_work(const Job& job, const Settings& settings = {});

// Upright pages, as many as the job needs. Error: bad_value if a text can't be set.
Result<std::string> job_sheet_pdf(const JobSheet& sheet, Paper paper);
// One document with nothing beside it; it asks nothing of any network.
std::string job_sheet_html(const JobSheet& sheet);

// .pdf or .html by the ending of the path. Errors: bad_value (another ending, or as above); storage.
Status write_job_sheet(const JobSheet& sheet, const std::filesystem::path& path, Paper paper);

}  // namespace bindhue::capture

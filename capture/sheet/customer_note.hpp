// The note that goes home with the rod: each wrap's old look beside the new one, what thread and finish went on it, and, where the shop has set
// prices, what it costs.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "colour/result.hpp"
#include "sheet/job_sheet.hpp"

namespace bindhue::capture {

struct NewLook {
    std::optional<Reading> old_look;  // as read; none if the job does not say which band the wrap replaces
    std::optional<Reading> as_new;    // the old look when its finish was clear, if that was matched
    std::optional<Reading> new_look;  // expected when finished; none if spool or schedule is not chosen or not known
    std::string ground;                // over which it is expected, in words
    std::size_t coat_tests = 0;        // that the expectation rests on; 0: optics, and tests of other kinds
};

struct QuoteLine {
    std::string what;
    double amount = 0;
};
// What each of wraps, thread and finish costs, without those that have no price; empty if none has. In the order of the prices.
std::vector<QuoteLine> quote(const Job& job, const Prices& prices, const Settings& settings);

struct CustomerNote {
    JobSheet sheet;
    std::vector<NewLook> looks;  // one for each of the job's bands
    std::optional<Reading> blank, coated_blank;  // beside them: bare, as read, and under a clear coat; none where none was read
};
// Of a job that the shop keeps; predicted by its coat tests over the ground that it says. One that says none is taken for the blank as read (a dark one
// where none was read; white where there is an underwrap). Errors: those of load_job_sheet() and load_coat_model().
Result<CustomerNote> load_customer_note(const Shop& shop, const std::string& name);

// Upright pages. Error: bad_value if a text can't be set.
Result<std::string> customer_note_pdf(const CustomerNote& note, Paper paper);
// One document with nothing beside it; it asks nothing of any network.
std::string customer_note_html(const CustomerNote& note);

// .pdf or .html by the ending of the path. Errors: bad_value (another ending, or as above); storage.
Status write_customer_note(const CustomerNote& note, const std::filesystem::path& path, Paper paper);

}  // namespace bindhue::capture

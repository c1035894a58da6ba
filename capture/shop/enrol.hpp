// A spool into the rack, or one more reading of a spool that is there.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "colour/drift.hpp"
#include "colour/result.hpp"
#include "shop/spool_file.hpp"

namespace bindhue::capture {

// What a user says of a spool; what is not said stays as it is.
struct SpoolParticulars {
    std::optional<std::string> name, size, lot;
    std::optional<Material> material;
    std::optional<double> size_mm, metres_left;
};

// A spool without readings. Error: bad_value (no code, no material or no thickness said; one out of its range).
Result<SpoolEntry> new_spool(const std::string& code, const SpoolParticulars& said);

// Writes over what is said, and leaves the readings alone. Error: bad_value; the spool is then as it was.
Status change(SpoolEntry& spool, const SpoolParticulars& said);

struct ToEnrol {
    std::string code;
    NotedReading reading;
};
struct Enrolled {
    bool fresh = false;          // the code was not in the rack
    bool known = false;          // this very reading was there already
    std::optional<Drift> drift;  // from what the spool's readings said before (Spool::reading_for); none of a fresh spool
    std::string since;           // date of the newest reading that it is compared with, empty if not known
};
struct Enrolment {
    std::vector<Enrolled> spools;  // as asked for
    bool drifted = false;          // one at least has, beyond chance
    bool alike = false;            // those that have drifted the same way (see bindhue::drift_alike)
    bool kept = false;             // the rack has the readings
};

// Readings of one photo. `said` describes the spools that are new. Where a spool has drifted beyond chance the photo or the spool is not
// what it is taken for, and the rack is left as it was, unless the user says that the thread itself has changed: then the spool's earlier
// readings become past ones, and the new one stands alone.
// Error: bad_value (what is said disagrees with a spool that is there: another lot, material or thickness is another spool; a code twice);
// the rack is then as it was.
Result<Enrolment> enrol(SpoolFile& rack, const std::vector<ToEnrol>& readings, const SpoolParticulars& said, bool thread_changed);

}  // namespace bindhue::capture

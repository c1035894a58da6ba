#include "shop/enrol.hpp"

#include <algorithm>
#include <iterator>

#include "shop/same_reading.hpp"

namespace bindhue::capture {
namespace {

Error wrong(const std::string& code, std::string what, std::string mend) {
    return {Reason::bad_value, std::move(what), "spool " + code, std::move(mend)};
}

// What is said against what the rack has.
Status agrees(const SpoolEntry& there, const SpoolParticulars& said) {
    const Spool& spool = there.spool;
    const auto differ = [](const auto& now, const auto& before) { return now && *now != before; };
    const char* what = differ(said.material, spool.material)                       ? "material"
                       : differ(said.size_mm, spool.size_mm)                       ? "thickness"
                       : differ(said.lot, spool.lot) && !spool.lot.empty()         ? "lot"
                       : differ(said.size, spool.size) && !spool.size.empty()      ? "size"
                       : differ(said.name, spool.name) && !spool.name.empty()      ? "name"
                                                                                   : nullptr;
    if (what == nullptr) return ok();
    return wrong(spool.code, std::string("The rack has this spool with another ").append(what).append("."),
                 "Another lot, material or size is another spool: give it another code. To correct the rack: bindhue spool edit.");
}

std::string date_of(const SpoolEntry& entry, const ReadingContext& kind) {
    std::string newest;
    for (std::size_t i = 0; i < std::min(entry.notes.size(), entry.spool.readings.size()); ++i)
        if (entry.spool.readings[i].context == kind) newest = std::max(newest, entry.notes[i].date);
    return newest;
}

}  // namespace

Status change(SpoolEntry& entry, const SpoolParticulars& said) {
    Spool& spool = entry.spool;
    if (said.size_mm && !(*said.size_mm >= min_thread_mm && *said.size_mm <= max_thread_mm))
        return wrong(spool.code, "The thread's diameter is outside 0.05 to 1 mm.", "Give the diameter in millimetres: 0.15 is usual.");
    if (said.metres_left && !(*said.metres_left >= 0 && *said.metres_left <= 1e6))
        return wrong(spool.code, "The length left is outside 0 to 1000000 m.", "Give metres.");
    if (said.name) spool.name = *said.name;
    if (said.size) spool.size = *said.size;
    if (said.lot) spool.lot = *said.lot;
    if (said.material) spool.material = *said.material;
    if (said.size_mm) spool.size_mm = *said.size_mm;
    if (said.metres_left) entry.metres_left = said.metres_left;
    return ok();
}

Result<SpoolEntry> new_spool(const std::string& code, const SpoolParticulars& said) {
    if (code.empty()) return Error{Reason::bad_value, "A spool has no code.", "code", "Give each spool a code of its own."};
    if (!said.material || !said.size_mm)
        return wrong(code, std::string("The spool is new to the rack, and its ") + (said.material ? "thickness" : "material") + " is not said.",
                     said.material ? "Say the thread's diameter in millimetres; 0.15 is usual (--size-mm 0.15)."
                                   : "Say which it is (--material): nylon, ncp-nylon, polyester, ncp-polyester, silk, metallic or monofilament.");
    SpoolEntry out;
    out.spool.code = code;
    if (const Status changed = change(out, said); !changed) return changed.error();
    return out;
}

Result<Enrolment> enrol(SpoolFile& rack, const std::vector<ToEnrol>& readings, const SpoolParticulars& said, bool thread_changed) {
    SpoolFile joined = rack;
    Enrolment out;
    std::vector<ReadTwice> twice;
    for (std::size_t k = 0; k < readings.size(); ++k) {
        const auto& [code, now] = readings[k];
        for (std::size_t j = 0; j < k; ++j)
            if (readings[j].code == code) return wrong(code, "The code is given twice.", "Each band is a spool of its own.");
        Enrolled& one = out.spools.emplace_back();
        SpoolEntry* entry = joined.find(code);
        one.fresh = entry == nullptr;
        if (one.fresh) {
            Result<SpoolEntry> fresh = new_spool(code, said);
            if (!fresh) return fresh.error();
            entry = &joined.entries.emplace_back(std::move(*fresh));
        } else {
            if (const Status fits = agrees(*entry, said); !fits) return fits.error();
            if (const Status changed = change(*entry, said); !changed) return changed.error();
            const Reading before = entry->spool.reading_for(now.reading.context);
            one.drift = drift_between(before, now.reading);
            one.since = date_of(*entry, before.context);
            twice.push_back({before, now.reading});
            out.drifted = out.drifted || one.drift->beyond_chance;
        }
        std::vector<Reading>& kept = entry->spool.readings;
        one.known = std::any_of(kept.begin(), kept.end(), [&](const Reading& r) { return same_reading(r, now.reading); });
        if (one.known) continue;
        entry->notes.resize(kept.size());
        if (one.drift && one.drift->beyond_chance) {
            for (std::size_t i = 0; i < kept.size(); ++i) entry->past.push_back({kept[i], entry->notes[i]});
            kept.clear();
            entry->notes.clear();
        }
        kept.push_back(now.reading);
        entry->notes.push_back(now.note);
    }
    out.alike = drift_alike(twice);
    out.kept = !out.drifted || thread_changed;
    if (out.kept) rack = std::move(joined);
    return out;
}

}  // namespace bindhue::capture

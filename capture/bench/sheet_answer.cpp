#include "bench/sheet_answer.hpp"

#include <optional>
#include <string_view>

#include "sheet/job_sheet.hpp"
#include "shop/numbers.hpp"
#include "shop/shop.hpp"
#include "shop/today.hpp"

namespace bindhue::capture::bench {
namespace {

constexpr std::size_t most_wraps = 40, longest_name = 100;
constexpr double usual_blank_mm = 8;  // where the photo showed no rod, so that there is something to reckon with

Result<WantedBand> wanted(std::string_view text, const WrapReading& reading, const SpoolFile& spools) {
    const Error no_wrap{Reason::bad_value, "a wrap of the sheet can't be read", "wrap", "choose it on the bench page again"};
    std::string_view parts[3];
    for (std::string_view& part : parts) {
        const std::size_t bar = text.find('|');
        if (bar == std::string_view::npos) return no_wrap;
        part = text.substr(0, bar);
        text.remove_prefix(bar + 1);
    }
    const auto number = whole_number(parts[0]), underwraps = whole_number(parts[2]);
    const Result<Schedule> schedule = parse_schedule(parts[1]);
    if (!number || *number < 1 || *number > reading.bands.size() || !underwraps || *underwraps > 1 || !schedule) return no_wrap;
    const SpoolEntry* spool = spools.find(text);
    if (spool == nullptr)
        return Error{Reason::not_found, "the rack has no spool of that code any more", "wrap", "load the page again"};
    const BandReading& band = reading.bands[*number - 1];
    WantedBand out;
    out.spool = spool->spool.code;
    out.schedule = *schedule;
    out.winding.width_mm = band.length_mm;
    out.winding.diameter_mm = reading.blank_diameter_mm.value_or(usual_blank_mm);
    out.winding.thread_mm = spool->spool.size_mm;
    out.winding.pitch_mm = band.pitch_mm.value_or(spool->spool.size_mm);
    out.winding.underwrap_mm = *underwraps == 1 ? spool->spool.size_mm : 0;
    if (const Status valid = validate(out.winding); !valid) return valid.error();
    return out;
}

}  // namespace

Result<std::string> sheet_answer(const WrapReading& reading, const std::filesystem::path& shop, const Query& query) {
    Result<SpoolFile> rack = load_spools(shop);
    if (!rack) return rack.error();
    JobSheet sheet;
    sheet.rack = std::move(*rack);
    const auto [first, last] = query.equal_range("wrap");
    for (auto at = first; at != last; ++at) {
        if (sheet.file.job.bands.size() == most_wraps)
            return Error{Reason::bad_value, "more than 40 wraps are on the sheet", "wrap", "make two sheets"};
        const Result<WantedBand> band = wanted(at->second, reading, sheet.rack);
        if (!band) return band.error();
        sheet.file.job.bands.push_back(*band);
    }
    if (sheet.file.job.bands.empty())
        return Error{Reason::bad_value, "no wrap is on the sheet", "wrap", "put a spool on it first"};
    const auto name = query.find("name");
    sheet.file.name = name == query.end() || name->second.empty() ? "at the bench" : name->second.substr(0, longest_name);
    sheet.file.date = today();
    for (const BandReading& band : reading.bands)
        sheet.old_rod.push_back({band.start_mm, band.length_mm, reading.blank_diameter_mm.value_or(usual_blank_mm),
                                 band.role == BandRole::blank, band.colour.lab});
    return job_sheet_html(sheet);
}

}  // namespace bindhue::capture::bench

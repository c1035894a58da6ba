#include "shop/rack_audit.hpp"

#include <cstdio>

#include "colour/surface_gamut.hpp"
#include "shop/coat_tests.hpp"
#include "shop/grounds.hpp"
#include "shop/job_file.hpp"
#include "shop/look_table.hpp"

namespace bindhue::capture {
namespace {

constexpr double region_step = 2.0;  // CIEDE2000 between neighbours: some 21 000 surface colours

Status add_asked(std::vector<AskedLook>& asked, const Result<std::vector<AskedLook>>& more) {
    if (!more) return more.error();
    asked.insert(asked.end(), more->begin(), more->end());
    return ok();
}

Result<std::vector<AskedLook>> asked_of(const Shop& shop, const std::vector<JobFile>& jobs, const AuditWish& wish) {
    std::vector<AskedLook> out;
    if (wish.jobs) {
        for (const JobFile& file : jobs) {
            const auto looks = load_asked_looks(job_folder(shop, file.name) / "reading.json");
            if (!looks && looks.error().reason == Reason::not_found) continue;  // a job without photos
            if (const Status added = add_asked(out, looks); !added) return added.error();
        }
        if (out.empty() && wish.targets.empty())
            return Error{Reason::too_few, "No job of this shop has a reading.", "--jobs",
                         "Make jobs with their photos: bindhue job new NAME --bands wraps.csv --photo PHOTO."};
    }
    for (const std::filesystem::path& path : wish.targets)
        if (const Status added = add_asked(out, load_asked_looks(path)); !added) return added.error();
    if (wish.all_surfaces())
        for (const Lab<D50>& c : surface_colours(region_step)) out.push_back({c, 1});
    return out;
}

}  // namespace

std::size_t RackAudit::tests_behind(std::size_t look) const {
    return coat_model.tests(rack[looks[look].spool].material, looks[look].schedule);
}

Result<RackAudit> audit_rack(const Shop& shop, const AuditWish& wish) {
    RackAudit out;
    Result<SpoolFile> spools = shop.spools();
    if (!spools) return spools.error();
    out.rack = spools->palette();
    Result<std::vector<Ground>> grounds = parse_grounds(wish.grounds, std::nullopt, out.rack, {});
    if (!grounds) return grounds.error();
    out.grounds = std::move(*grounds);
    Result<std::vector<Schedule>> schedules = parse_schedules(wish.schedules);
    if (!schedules) return schedules.error();
    out.schedules = std::move(*schedules);
    Result<CoatModel> coat_model = load_coat_model(shop.folder());
    if (!coat_model) return coat_model.error();
    out.coat_model = std::move(*coat_model);
    Result<std::vector<SpoolLook>> looks = finished_looks(out.rack, out.grounds, out.schedules, out.coat_model);
    if (!looks) return looks.error();
    out.looks = std::move(*looks);

    const Result<std::vector<JobFile>> jobs = load_jobs(shop);
    if (!jobs) return jobs.error();
    for (const auto& [code, metres] : thread_for_open_jobs(*jobs)) {
        const SpoolEntry* spool = spools->find(code);
        out.stock.push_back({code, metres, spool == nullptr ? std::nullopt : spool->metres_left, spool != nullptr});
    }
    Result<std::vector<AskedLook>> asked = asked_of(shop, *jobs, wish);
    if (!asked) return asked.error();
    out.asked = std::move(*asked);
    Result<Audit> judged = audit(out.rack, out.looks, out.asked, wish.tolerance);
    if (!judged) return judged.error();
    out.audit = std::move(*judged);
    out.entries = std::move(spools->entries);
    return out;
}

std::string served_in_words(const RackAudit& found, const AuditWish& wish) {
    char text[200];
    std::snprintf(text, sizeof text, "%zu spools serve %.1f %% of the %zu %s, within %.1f CIEDE2000 when finished.", found.rack.size(),
                  100 * found.audit.served, found.asked.size(),
                  wish.all_surfaces() ? "surface colours that a wrap might ask for" : "looks asked for", wish.tolerance);
    return text;
}

std::string rests_in_words(const RackAudit& found) {
    std::size_t tested = 0;
    for (std::size_t i = 0; i < found.looks.size(); ++i) tested += found.tests_behind(i) > 0;
    const std::string how = tested == 0 ? "from optics, for this shop has no coat test of these materials"
                                        : std::to_string(100 * tested / found.looks.size()) +
                                              " % of them by coat tests of this shop and the rest from optics and what those tests let guess";
    return "Finished looks are predicted, " + how + ": make a test wrap before you buy.";
}

void add_rack_findings(Json& out, const RackAudit& found) {
    Json twins = Json::array(), unneeded = twins, stock = twins;
    for (const Twins& t : found.audit.twins) {
        Json codes = Json::array();
        for (const std::size_t s : t.spools) codes.push_back(found.rack[s].code);
        twins.push_back({{"spools", std::move(codes)}, {"delta_e", t.delta_e}});
    }
    for (const std::size_t s : found.audit.unneeded) unneeded.push_back(found.rack[s].code);
    for (const Stock& s : found.stock)
        stock.push_back({{"spool", s.code},
                         {"needed_m", s.needed_m},
                         {"left_m", s.left_m ? Json(*s.left_m) : Json(nullptr)},
                         {"in_rack", s.in_rack},
                         {"runs_out", s.runs_out()}});
    out["twins"] = std::move(twins);
    out["unneeded"] = std::move(unneeded);
    out["stock"] = std::move(stock);
}

}  // namespace bindhue::capture

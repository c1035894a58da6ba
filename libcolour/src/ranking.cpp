#include "colour/ranking.hpp"

#include <algorithm>
#include <cmath>
#include <tuple>

#include "colour/surface_gamut.hpp"

namespace bindhue {
namespace {

struct Prepared {
    Surface dry;
    bool same_kind;
};

struct Row {
    std::size_t spool, ground;
    Schedule schedule;
    Lab<D50> look;
    double delta_e_at_best;
};

Error bad(std::string what, std::string where, std::string mend) {
    return {Reason::bad_value, std::move(what), std::move(where), std::move(mend)};
}

std::vector<std::string> notes_on(const Spool& spool, const Reading& dry) {
    std::vector<std::string> notes;
    if (spool.material == Material::metallic)
        notes.emplace_back("metallic: its colour changes with the angle, compare at three angles");
    if (spool.material == Material::monofilament)
        notes.emplace_back("clear thread: mostly the ground is seen");
    if (vividness(dry.lab) > 1)
        notes.emplace_back("no plain surface has the dry colour: fluorescent or misread, judge it by eye");
    return notes;
}

Candidate weigh(const Row& row, const Reading& target, const Spool& spool, const Prepared& prepared,
                const Ground& ground, const Surface& ground_surface, const RankingOptions& options) {
    const FinishedCovariance covariance =
        options.coat_model.predicted_covariance(spool.material, row.schedule, spool.size_mm, prepared.dry, ground_surface, spool.opacity);
    Candidate out;
    out.spool = row.spool;
    out.schedule = row.schedule;
    out.ground = row.ground;
    out.predicted = {row.look, covariance.from_dry + covariance.rest, prepared.dry.reading().context};
    out.coat_tests = options.coat_model.tests(spool.material, row.schedule);
    out.same_kind = prepared.same_kind;
    out.steps = coats(row.schedule) + ground.extra_steps;
    out.leans = lean(target.lab, row.look);
    out.notes = notes_on(spool, prepared.dry.reading());

    // What coating leaves of the error that the spool's reading shares with the target's is not known; of a
    // dry wrap nearly all is left.
    if (prepared.same_kind && row.schedule == Schedule::none) out.predicted.shared = covariance.shared;
    const DifferenceDistribution difference(target, out.predicted);
    out.delta_e_at_best = row.delta_e_at_best;
    out.delta_e = difference.expected();
    out.interval_low = difference.quantile(0.025);
    out.interval_high = difference.quantile(0.975);
    out.pass_chance = difference.pass_chance(options.tolerance);
    return out;
}

}  // namespace

Result<std::vector<Candidate>> rank(const Reading& target, const Palette& palette,
                                    std::span<const Ground> grounds, const RankingOptions& options) {
    if (const Status status = validate(target); !status)
        return bad(status.error().what, "target", status.error().mend);
    if (const Status status = validate(palette); !status) return status.error();
    if (!(options.tolerance > 0 && options.tolerance <= 100))
        return bad("The tolerance is outside 0..100.", "tolerance", "Give a CIEDE2000, for instance 2.");
    if (palette.empty())
        return Error{Reason::too_few, "There is no spool to rank.", "palette", "Add spools to the shop."};
    if (grounds.empty())
        return Error{Reason::too_few, "There is no ground.", "grounds", "Give the blank's colour, or white."};
    if (options.schedules.empty())
        return Error{Reason::too_few, "There is no schedule.", "schedules", "Give at least one schedule."};

    std::vector<Surface> ground_surfaces;
    ground_surfaces.reserve(grounds.size());
    for (const Ground& ground : grounds) {
        auto surface = Surface::from(ground.colour);
        if (!surface) return bad(surface.error().what, "ground " + ground.label, surface.error().mend);
        ground_surfaces.push_back(*surface);
    }
    std::vector<Prepared> prepared;
    prepared.reserve(palette.size());
    for (const Spool& spool : palette) {
        const Reading& dry = spool.reading_for(target.context);
        prepared.push_back({Surface::nearest(dry), dry.context.same_kind(target.context)});
    }

    std::vector<Row> rows;
    rows.reserve(palette.size() * options.schedules.size() * grounds.size());
    for (std::size_t s = 0; s < palette.size(); ++s)
        for (const Schedule schedule : options.schedules)
            for (std::size_t g = 0; g < grounds.size(); ++g) {
                const Lab<D50> look = options.coat_model.predicted_look(
                    palette[s].material, schedule, palette[s].size_mm, prepared[s].dry, ground_surfaces[g], palette[s].opacity);
                rows.push_back({s, g, schedule, look, ciede2000(target.lab, look)});
            }
    const auto order = [&](const Row& row) {
        return std::tuple(std::llround(100 * row.delta_e_at_best), coats(row.schedule) + grounds[row.ground].extra_steps,
                          std::string_view(palette[row.spool].code), row.schedule, row.ground);
    };
    const auto listed = rows.begin() + static_cast<std::ptrdiff_t>(std::min(options.top, rows.size()));
    std::partial_sort(rows.begin(), listed, rows.end(), [&](const Row& x, const Row& y) { return order(x) < order(y); });

    std::vector<Candidate> out;
    for (const Row& row : std::span(rows.begin(), listed))
        out.push_back(weigh(row, target, palette[row.spool], prepared[row.spool], grounds[row.ground], ground_surfaces[row.ground], options));
    return out;
}

}  // namespace bindhue

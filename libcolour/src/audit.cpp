#include "colour/audit.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <map>
#include <numeric>
#include <optional>

#include "colour/words.hpp"
#include "in_parallel.hpp"

namespace bindhue {
namespace {

Error bad(std::string what, std::string where, std::string mend) {
    return {Reason::bad_value, std::move(what), std::move(where), std::move(mend)};
}

Status check(std::span<const AskedLook> asked, double tolerance) {
    if (!(tolerance > 0 && tolerance <= 100))
        return bad("The tolerance is outside 0..100.", "tolerance", "Give a CIEDE2000, for instance 2.");
    if (asked.empty())
        return Error{Reason::too_few, "No look is asked for.", "targets", "Give at least one colour."};
    for (std::size_t i = 0; i < asked.size(); ++i) {
        const std::string where = "target " + std::to_string(i + 1);
        if (const Status status = validate(Reading{asked[i].lab, {}, {}}); !status)
            return bad(status.error().what, where, status.error().mend);
        if (!(asked[i].weight > 0 && asked[i].weight <= 1e9))
            return bad("The weight is outside 0..10^9.", where, "Give how often it was asked for, at least once.");
    }
    return ok();
}

std::vector<Lab<D50>> colours_of(std::span<const SpoolLook> looks) {
    std::vector<Lab<D50>> out;
    out.reserve(looks.size());
    for (const SpoolLook& look : looks) out.push_back(look.lab);
    return out;
}

// Which spools serve each look asked for; of a crowd the nearest few will do, for any of them is enough.
constexpr std::size_t enough = 32;
using Servers = std::vector<std::vector<std::uint32_t>>;

std::vector<Gap> gaps_of(std::span<const AskedLook> asked, const std::vector<Neighbour>& nearest,
                         double tolerance, double total) {
    std::vector<std::size_t> open;
    std::vector<Lab<D50>> colours;
    for (std::size_t i = 0; i < asked.size(); ++i)
        if (nearest[i].delta_e > tolerance) open.push_back(i), colours.push_back(asked[i].lab);
    // What a finished look in the place of each open one would serve; of a crowd only so many are counted.
    constexpr std::size_t crowd = 256;
    const NearestColours index(colours);
    std::vector<double> would_serve(open.size());
    in_parallel(open.size(), [&](std::size_t i) {
        for (const Neighbour& n : index.nearest(colours[i], crowd, tolerance))
            would_serve[i] += asked[open[n.index]].weight / total;
    });

    std::map<std::string, Gap> named;
    for (std::size_t i = 0; i < open.size(); ++i) {
        const AskedLook& look = asked[open[i]];
        const Neighbour& near = nearest[open[i]];
        Gap& gap = named[colour_words(look.lab)];
        gap.share += look.weight / total;
        ++gap.looks;
        gap.worst = std::max(gap.worst, near.delta_e);
        // Of those that would serve as much the one that is farther from all there is.
        constexpr double alike = 1e-9;
        if (would_serve[i] > gap.would_serve + alike ||
            (would_serve[i] > gap.would_serve - alike && near.delta_e > gap.delta_e)) {
            gap.middle = look.lab;
            gap.would_serve = would_serve[i];
            gap.delta_e = near.delta_e;
            gap.nearest = near.index;
        }
    }
    std::vector<Gap> gaps;
    for (auto& [words, gap] : named) {
        gap.words = words;
        gaps.push_back(std::move(gap));
    }
    std::stable_sort(gaps.begin(), gaps.end(), [](const Gap& x, const Gap& y) { return x.share > y.share; });
    return gaps;
}

std::vector<Twins> twins_of(const Palette& palette, std::span<const SpoolLook> looks) {
    const std::size_t each = looks.size() / palette.size();
    std::vector<Lab<D50>> first;
    first.reserve(palette.size());
    for (std::size_t s = 0; s < palette.size(); ++s) first.push_back(looks[s * each].lab);
    const NearestColours index(first);

    std::vector<bool> taken(palette.size());
    std::vector<Twins> out;
    for (std::size_t s = 0; s < palette.size(); ++s) {
        if (taken[s]) continue;
        Twins twins{{s}, 0};
        std::vector<std::size_t> near;
        for (const Neighbour& n : index.all_within(first[s], twin_limit))
            if (n.index > s && !taken[n.index]) near.push_back(n.index);
        std::sort(near.begin(), near.end());
        for (const std::size_t other : near) {
            // A difference of a tenth in thickness is not seen in a wrap (a guess).
            const double thicker = palette[other].size_mm / palette[s].size_mm;
            if (palette[other].material != palette[s].material || thicker > 1.1 || thicker < 1 / 1.1) continue;
            double worst = 0;
            for (std::size_t i = 0; i < each && worst <= twin_limit; ++i)
                worst = std::max(worst, ciede2000(looks[s * each + i].lab, looks[other * each + i].lab));
            if (worst > twin_limit) continue;
            twins.spools.push_back(other);
            twins.delta_e = std::max(twins.delta_e, worst);
            taken[other] = true;
        }
        if (twins.spools.size() > 1) out.push_back(std::move(twins));
    }
    return out;
}

// Spools are let go one by one, those that serve least first, as long as each look keeps one that serves it.
std::vector<std::size_t> unneeded_of(std::size_t spools, const Servers& servers, std::span<const AskedLook> asked) {
    std::vector<std::vector<std::uint32_t>> serves(spools);
    std::vector<double> weight(spools);
    std::vector<std::uint32_t> left(asked.size());
    for (std::size_t t = 0; t < asked.size(); ++t) {
        left[t] = static_cast<std::uint32_t>(servers[t].size());
        for (const std::uint32_t s : servers[t]) {
            serves[s].push_back(static_cast<std::uint32_t>(t));
            weight[s] += asked[t].weight;
        }
    }
    std::vector<std::size_t> order(spools);
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::stable_sort(order.begin(), order.end(), [&](std::size_t x, std::size_t y) { return weight[x] < weight[y]; });
    std::vector<std::size_t> out;
    for (const std::size_t s : order) {
        if (!std::all_of(serves[s].begin(), serves[s].end(), [&](std::uint32_t t) { return left[t] > 1; })) continue;
        for (const std::uint32_t t : serves[s]) --left[t];
        out.push_back(s);
    }
    std::sort(out.begin(), out.end());
    return out;
}

// Which spools of the offer to take. What a look is worth to a spool is its weight, and a trifle for nearness
// that decides between equals; of several spools that serve it the best counts.
class Choice {
  public:
    struct Hit {
        std::uint32_t look;
        double worth;
    };

    Choice(std::vector<std::vector<Hit>> offers, std::size_t looks) : offers_(std::move(offers)), have_(looks) {}

    struct Outcome {
        std::vector<std::size_t> chosen;
        double worth = 0, bound = 0;
        bool best = false;
    };

    Outcome choose(std::size_t most) {
        const std::vector<std::size_t> all = all_offers();
        Outcome out;
        // Greedy.
        double worth = 0, first_gains = 0;
        for (const auto& [gain, offer] : by_gain(all, most)) first_gains += gain;
        std::vector<std::vector<Hit>> undo;
        while (out.chosen.size() < most) {
            const auto best = by_gain(all, 1);
            if (best.empty()) break;
            undo.push_back(take(best[0].second));
            out.chosen.push_back(best[0].second);
            worth += best[0].first;
        }
        for (auto u = undo.rbegin(); u != undo.rend(); ++u) give_back(*u);
        out.worth = worth;
        const double of_the_best = 1 - std::pow(1 - 1.0 / static_cast<double>(most), static_cast<double>(most));
        out.bound = std::min(first_gains, worth / of_the_best);

        best_ = out.chosen;
        best_worth_ = worth;
        work_left_ = 100'000'000;
        chosen_.clear();
        search(all, most, 0);
        out.best = work_left_ > 0;
        out.chosen = best_;
        out.worth = best_worth_;
        if (out.best) out.bound = best_worth_;
        return out;
    }

    // What each adds, the largest first at each step.
    std::vector<std::pair<std::size_t, double>> in_order(std::vector<std::size_t> chosen) {
        std::vector<std::pair<std::size_t, double>> out;
        while (!chosen.empty()) {
            std::size_t best = 0;
            for (std::size_t i = 1; i < chosen.size(); ++i)
                if (gain(chosen[i]) > gain(chosen[best])) best = i;
            out.emplace_back(chosen[best], gain(chosen[best]));
            take(chosen[best]);
            chosen.erase(chosen.begin() + static_cast<std::ptrdiff_t>(best));
        }
        return out;
    }

  private:
    std::vector<std::size_t> all_offers() const {
        std::vector<std::size_t> out;
        for (std::size_t i = 0; i < offers_.size(); ++i)
            if (!offers_[i].empty()) out.push_back(i);
        return out;
    }
    double gain(std::size_t offer) const {
        double sum = 0;
        for (const Hit& hit : offers_[offer]) sum += std::max(0.0, hit.worth - have_[hit.look]);
        return sum;
    }
    // Those that add something, the largest first, at most `count`.
    std::vector<std::pair<double, std::size_t>> by_gain(const std::vector<std::size_t>& among, std::size_t count) {
        std::vector<std::pair<double, std::size_t>> out;
        for (const std::size_t offer : among) {
            work_left_ -= static_cast<std::int64_t>(offers_[offer].size()) + 1;
            if (const double g = gain(offer); g > 0) out.emplace_back(g, offer);
        }
        const auto larger = [](const auto& x, const auto& y) {
            return x.first != y.first ? x.first > y.first : x.second < y.second;
        };
        const auto end = out.begin() + static_cast<std::ptrdiff_t>(std::min(count, out.size()));
        std::partial_sort(out.begin(), end, out.end(), larger);
        out.erase(end, out.end());
        return out;
    }
    std::vector<Hit> take(std::size_t offer) {
        std::vector<Hit> before;
        for (const Hit& hit : offers_[offer])
            if (hit.worth > have_[hit.look]) {
                before.push_back({hit.look, have_[hit.look]});
                have_[hit.look] = hit.worth;
            }
        return before;
    }
    void give_back(const std::vector<Hit>& before) {
        for (const Hit& hit : before) have_[hit.look] = hit.worth;
    }

    // Either the offer that adds most is taken or it is left for good. What the rest can add is no more than the sum
    // of the largest single gains, for each adds less the more there is.
    void search(std::vector<std::size_t> among, std::size_t most, double worth) {
        while (work_left_ > 0) {
            const auto gains = by_gain(among, most);
            double bound = worth;
            for (const auto& [g, offer] : gains) bound += g;
            if (gains.empty() || bound <= best_worth_ * (1 + 1e-12)) return;
            const auto [g, offer] = gains[0];
            const std::vector<Hit> before = take(offer);
            chosen_.push_back(offer);
            if (worth + g > best_worth_ * (1 + 1e-12)) best_worth_ = worth + g, best_ = chosen_;
            std::erase(among, offer);
            if (most > 1) search(among, most - 1, worth + g);
            chosen_.pop_back();
            give_back(before);
        }
    }

    std::vector<std::vector<Hit>> offers_;
    std::vector<double> have_;
    std::vector<std::size_t> chosen_, best_;
    double best_worth_ = 0;
    std::int64_t work_left_ = 0;
};

}  // namespace

Result<std::vector<SpoolLook>> finished_looks(const Palette& palette, std::span<const Ground> grounds,
                                              std::span<const Schedule> schedules, const CoatModel& coat_model) {
    if (const Status status = validate(palette); !status) return status.error();
    if (palette.empty()) return Error{Reason::too_few, "There is no spool.", "palette", "Add spools to the shop."};
    if (grounds.empty())
        return Error{Reason::too_few, "There is no ground.", "grounds", "Give the blank's colour, or white."};
    if (schedules.empty())
        return Error{Reason::too_few, "There is no schedule.", "schedules", "Give at least one schedule."};
    std::vector<Surface> under;
    for (const Ground& ground : grounds) {
        const auto surface = Surface::from(ground.colour);
        if (!surface) return bad(surface.error().what, "ground " + ground.label, surface.error().mend);
        under.push_back(*surface);
    }
    const std::size_t each = schedules.size() * grounds.size();
    std::vector<SpoolLook> out(palette.size() * each);
    in_parallel(palette.size(), [&](std::size_t s) {
        const Surface dry = Surface::nearest(palette[s].reading_for({}));
        for (std::size_t i = 0; i < each; ++i) {
            const Schedule schedule = schedules[i / grounds.size()];
            const std::size_t ground = i % grounds.size();
            out[s * each + i] = {s, schedule, ground,
                                 coat_model.predicted_look(palette[s].material, schedule, palette[s].size_mm, dry,
                                                           under[ground], palette[s].opacity)};
        }
    });
    return out;
}

Result<Audit> audit(const Palette& palette, std::span<const SpoolLook> looks, std::span<const AskedLook> asked,
                    double tolerance) {
    if (const Status status = check(asked, tolerance); !status) return status.error();
    if (looks.empty() || palette.empty())
        return Error{Reason::too_few, "There is no spool.", "palette", "Add spools to the shop."};
    const NearestColours index(colours_of(looks));
    Audit out;
    out.nearest.resize(asked.size());
    Servers servers(asked.size());
    in_parallel(asked.size(), [&](std::size_t t) {
        const auto found = index.nearest(asked[t].lab, enough, tolerance);
        out.nearest[t] = found.empty() ? index.nearest(asked[t].lab, 1)[0] : found[0];
        for (const Neighbour& n : found) servers[t].push_back(static_cast<std::uint32_t>(looks[n.index].spool));
        std::sort(servers[t].begin(), servers[t].end());
        servers[t].erase(std::unique(servers[t].begin(), servers[t].end()), servers[t].end());
    });
    double total = 0, served = 0;
    for (std::size_t t = 0; t < asked.size(); ++t) {
        total += asked[t].weight;
        if (out.nearest[t].delta_e <= tolerance) served += asked[t].weight;
    }
    out.served = served / total;
    out.gaps = gaps_of(asked, out.nearest, tolerance, total);
    out.twins = twins_of(palette, looks);
    out.unneeded = unneeded_of(palette.size(), servers, asked);
    return out;
}

Result<BuyingList> buying_list(std::span<const SpoolLook> offer, std::span<const AskedLook> asked,
                               const Audit& rack, std::size_t most, double tolerance) {
    if (const Status status = check(asked, tolerance); !status) return status.error();
    std::vector<std::size_t> open;  // looks that are not served
    std::vector<Lab<D50>> colours;
    double total = 0;
    for (std::size_t t = 0; t < asked.size(); ++t) {
        total += asked[t].weight;
        if (rack.nearest[t].delta_e <= tolerance) continue;
        open.push_back(t);
        colours.push_back(asked[t].lab);
    }
    BuyingList out;
    out.served = out.bound = rack.served;
    out.best = true;
    if (most == 0 || offer.empty() || open.empty()) return out;

    const NearestColours index(colours);
    std::size_t spools = 0, pairs = 0;
    for (const SpoolLook& look : offer) spools = std::max(spools, look.spool + 1);
    std::vector<std::vector<Choice::Hit>> hits(spools);
    constexpr double trifle = 1e-6;
    for (const SpoolLook& look : offer) {
        const auto found = index.all_within(look.lab, tolerance);
        pairs += found.size();
        if (pairs > 100'000'000)
            return Error{Reason::too_few, "The offer serves too many of the looks for the memory.", "candidates",
                         "Offer fewer spools, or ask for fewer looks."};
        for (const Neighbour& n : found)
            hits[look.spool].push_back({static_cast<std::uint32_t>(n.index),
                                        asked[open[n.index]].weight * (1 - trifle * n.delta_e / tolerance)});
    }
    // Of several schedules and grounds of one spool the best.
    for (auto& of_spool : hits) {
        std::sort(of_spool.begin(), of_spool.end(), [](const Choice::Hit& x, const Choice::Hit& y) {
            return x.look != y.look ? x.look < y.look : x.worth > y.worth;
        });
        of_spool.erase(std::unique(of_spool.begin(), of_spool.end(),
                                   [](const Choice::Hit& x, const Choice::Hit& y) { return x.look == y.look; }),
                       of_spool.end());
    }
    Choice choice(std::move(hits), open.size());
    const Choice::Outcome outcome = choice.choose(most);
    for (const auto& [spool, gain] : choice.in_order(outcome.chosen)) {
        out.buy.push_back({spool, gain / total});
        out.served += gain / total;
    }
    out.best = outcome.best;
    out.bound = out.best ? out.served : std::min(1.0, rack.served + outcome.bound / total / (1 - trifle));
    return out;
}

}  // namespace bindhue

#include <algorithm>
#include <cstdio>
#include <iostream>
#include <numeric>

#include "cli/command.hpp"
#include "cli/rack.hpp"
#include "colour/audit.hpp"
#include "sheet/rack_picture.hpp"
#include "sheet/swatch.hpp"
#include "shop/look_table.hpp"
#include "shop/rack_audit.hpp"

namespace bindhue::capture::cli {
namespace {

constexpr std::size_t shown = 15;

struct AuditCommand {
    std::string shop, candidates, picture;
    std::vector<std::string> targets;
    AuditWish wish;
    std::size_t buy = 5;
    bool json = false;

    struct Offer {
        Palette spools;
        std::vector<SpoolLook> looks;
        BuyingList list;
    };
    struct Found : RackAudit {
        std::optional<Offer> offer;
    };

    int run() {
        wish.targets.assign(targets.begin(), targets.end());
        const Result<Found> found = find();
        if (!found) return fail(found.error());
        if (!picture.empty()) {
            const Status drawn = write_rack_picture(found->rack, found->looks, found->asked, found->audit,
                                                    wish.tolerance, picture);
            if (!drawn) return fail(drawn.error());
        }
        if (json)
            print_json(document(*found));
        else
            print(*found);
        return done;
    }

    Result<Found> find() const {
        const Result<Shop> opened = open_shop(shop, Access::read);
        if (!opened) return opened.error();
        Result<RackAudit> audited = audit_rack(*opened, wish);
        if (!audited) return audited.error();
        Found out{std::move(*audited), {}};
        if (candidates.empty()) return out;
        Result<Palette> offered = load_offer(candidates);
        if (!offered) return offered.error();
        Offer offer;
        offer.spools = std::move(*offered);
        if (!offer.spools.empty()) {
            Result<std::vector<SpoolLook>> their_looks = finished_looks(offer.spools, out.grounds, out.schedules, out.coat_model);
            if (!their_looks) return their_looks.error();
            offer.looks = std::move(*their_looks);
        }
        const Result<BuyingList> list = buying_list(offer.looks, out.asked, out.audit, buy, wish.tolerance);
        if (!list) return list.error();
        offer.list = *list;
        out.offer = std::move(offer);
        return out;
    }

    static nlohmann::ordered_json look_json(const Found& found, std::size_t index) {
        const SpoolLook& look = found.looks[index];
        return {{"spool", found.rack[look.spool].code},
                {"schedule", name(look.schedule)},
                {"ground", found.grounds[look.ground].label},
                {"lab", to_json(look.lab)},
                {"coat_tests", found.tests_behind(index)}};
    }

    nlohmann::ordered_json document(const Found& found) const {
        nlohmann::ordered_json gaps = nlohmann::ordered_json::array(), buys = gaps;
        for (const Gap& gap : found.audit.gaps)
            gaps.push_back({{"words", gap.words},
                            {"share", gap.share},
                            {"looks", gap.looks},
                            {"middle_lab", to_json(gap.middle)},
                            {"would_serve", gap.would_serve},
                            {"delta_e", gap.delta_e},
                            {"worst_delta_e", gap.worst},
                            {"nearest", look_json(found, gap.nearest)}});
        // Of the surface colours there are too many to tell each.
        nlohmann::ordered_json each = nlohmann::ordered_json::array();
        if (!wish.all_surfaces())
            for (std::size_t t = 0; t < found.asked.size(); ++t) {
                const Neighbour& near = found.audit.nearest[t];
                each.push_back({{"lab", to_json(found.asked[t].lab)},
                                {"weight", found.asked[t].weight},
                                {"delta_e", near.delta_e},
                                {"served", near.delta_e <= wish.tolerance},
                                {"best", look_json(found, near.index)}});
            }
        nlohmann::ordered_json out{{"format", "bindhue-audit"},
                                   {"version", 1},
                                   {"asked", {{"from", targets}, {"jobs", wish.jobs}, {"looks", found.asked.size()}}},
                                   {"tolerance", wish.tolerance},
                                   {"served", found.audit.served},
                                   {"looks", std::move(each)},
                                   {"gaps", std::move(gaps)}};
        add_rack_findings(out, found);
        if (found.offer) {
            for (const Purchase& p : found.offer->list.buy) {
                const Spool& spool = found.offer->spools[p.spool];
                buys.push_back({{"spool", spool.code},
                                {"name", spool.name},
                                {"material", name(spool.material)},
                                {"size_mm", spool.size_mm},
                                {"share", p.share}});
            }
            const BuyingList& list = found.offer->list;
            out["buying"] = {{"served", list.served}, {"best", list.best}, {"bound", list.bound}};
        }
        out["buy"] = std::move(buys);
        return out;
    }

    void print(const Found& found) const {
        const bool colour = terminal_has_colour();
        const Audit& audit = found.audit;
        std::cout << served_in_words(found, wish) << '\n';
        std::cout.flush();
        if (!wish.all_surfaces()) print_each(found, colour);
        if (!audit.gaps.empty()) {
            std::cout << "\nGaps, most asked for first";
            if (audit.gaps.size() > shown) std::cout << " (" << shown << " of " << audit.gaps.size() << ")";
            std::cout << "\n\n";
            Table table({"", "gap", "", "of all", "looks", "a spool here: L* a* b*", "would serve", "off by", "at worst", "nearest spool",
                         "schedule", "ground", "tests"});
            for (std::size_t g = 0; g < std::min(shown, audit.gaps.size()); ++g) {
                const Gap& gap = audit.gaps[g];
                const SpoolLook& nearest = found.looks[gap.nearest];
                table.add({std::to_string(g + 1), gap.words, swatch(gap.middle, colour),
                           number("%.1f %%", 100 * gap.share), std::to_string(gap.looks), in_words(gap.middle),
                           number("%.2f %%", 100 * gap.would_serve),
                           number("%.1f", gap.delta_e), number("%.1f", gap.worst), found.rack[nearest.spool].code,
                           std::string(name(nearest.schedule)), found.grounds[nearest.ground].label,
                           rests_on(found.tests_behind(gap.nearest))});
            }
            std::cout << table.text();
        }
        if (found.offer) print_offer(*found.offer, colour);
        if (!audit.twins.empty()) {
            std::cout << "\nTwins, which no eye tells apart under any of these schedules and grounds\n\n";
            Table table({"spools", "differ by"});
            for (const Twins& t : audit.twins) {
                std::string codes;
                for (const std::size_t s : t.spools) codes += (codes.empty() ? "" : ", ") + found.rack[s].code;
                table.add({codes, number("%.2f", t.delta_e)});
            }
            std::cout << table.text();
        }
        if (!audit.unneeded.empty()) {
            constexpr std::size_t few = 20;
            std::string codes;
            for (std::size_t i = 0; i < std::min(few, audit.unneeded.size()); ++i)
                codes += (i == 0 ? "" : ", ") + found.rack[audit.unneeded[i]].code;
            if (audit.unneeded.size() > few) codes += " ... (all of them with --json)";
            Table table({number("%.0f", static_cast<double>(audit.unneeded.size())) +
                         " spools can all go, and whatever is served is served still"});
            table.add({codes});
            std::cout << '\n' << table.text();
        }
        if (!found.stock.empty()) {
            std::cout << "\nThread for the open jobs\n\n";
            Table table({"spool", "needed m", "left m", ""});
            for (const Stock& s : found.stock)
                table.add({s.code, number("%.1f", s.needed_m), s.left_m ? number("%.1f", *s.left_m) : "not known",
                           !s.in_rack     ? "not in the rack"
                           : s.runs_out() ? "runs out: " + number("%.1f", s.needed_m - *s.left_m) + " m short"
                                          : ""});
            std::cout << table.text();
        }
        if (wish.all_surfaces())
            std::cout << "\nThe surface colours are those of paints, inks, plastics and textiles (Pointer 1980); thread "
                         "alone reaches fewer.\n";
        std::cout << '\n' << rests_in_words(found) << '\n';
    }

    // What was asked for and the best that the rack has for it, the worst served first.
    void print_each(const Found& found, bool colour) const {
        std::vector<std::size_t> order(found.asked.size());
        std::iota(order.begin(), order.end(), std::size_t{0});
        const auto& nearest = found.audit.nearest;
        std::stable_sort(order.begin(), order.end(),
                         [&](std::size_t x, std::size_t y) { return nearest[x].delta_e > nearest[y].delta_e; });
        std::cout << "\nThe best for each look, the worst served first";
        if (order.size() > shown) std::cout << " (" << shown << " of " << order.size() << "; all with --json)";
        std::cout << "\n\n";
        Table table({"", "asked for: L* a* b*", "times", "CIEDE2000", "spool", "schedule", "ground", ""});
        for (std::size_t i = 0; i < std::min(shown, order.size()); ++i) {
            const AskedLook& asked = found.asked[order[i]];
            const Neighbour& near = nearest[order[i]];
            const SpoolLook& best = found.looks[near.index];
            table.add({swatch(asked.lab, colour), in_words(asked.lab), number("%g", asked.weight), number("%.1f", near.delta_e),
                       found.rack[best.spool].code, std::string(name(best.schedule)), found.grounds[best.ground].label,
                       near.delta_e <= wish.tolerance ? "served" : "not served"});
        }
        std::cout << table.text();
    }

    void print_offer(const Offer& offer, bool colour) const {
        const BuyingList& list = offer.list;
        if (list.buy.empty()) {
            std::cout << "\nNothing on offer serves a look that the rack does not.\n";
            return;
        }
        std::printf("\nTo buy, of %zu on offer: with these %.1f %% are served", offer.spools.size(), 100 * list.served);
        if (list.best)
            std::printf("; no other choice of %zu serves more.\n\n", buy);
        else
            std::printf("; the best choice of %zu serves no more than %.1f %%, and may be another.\n\n", buy,
                        100 * list.bound);
        std::fflush(stdout);
        Table table({"", "spool", "", "name", "material", "size mm", "dry L* a* b*", "adds"});
        std::size_t place = 0;
        for (const Purchase& p : list.buy) {
            const Spool& spool = offer.spools[p.spool];
            const Lab<D50>& dry = spool.reading_for({}).lab;
            table.add({std::to_string(++place), spool.code, swatch(dry, colour), spool.name,
                       std::string(name(spool.material)), number("%.2f", spool.size_mm), in_words(dry),
                       number("%.2f %%", 100 * p.share)});
        }
        std::cout << table.text();
    }
};

}  // namespace

void add_audit(CLI::App& app, int& exit_code) {
    auto command = std::make_shared<AuditCommand>();
    CLI::App* audit = app.add_subcommand(
        "audit", "Which looks the rack cannot serve, which spools are twins or not needed, and what to buy");
    add_shop_option(*audit, command->shop);
    audit->add_option("--targets", command->targets,
                      "Looks that were asked for: what bindhue read --json printed, or a table with the columns "
                      "L,a,b and perhaps weight; may be repeated (default: the colours that surfaces take)")
        ->allow_extra_args(false);
    audit->add_flag("--jobs", command->wish.jobs, "Looks that were asked for: every wrap and trim read for a job of this shop");
    audit->add_option("--candidates", command->candidates,
                      "Spools on offer: a file of spools, or a table with the columns "
                      "code,material,size_mm,L,a,b");
    audit->add_option("--buy", command->buy, "How many of them to buy at most")
        ->check(CLI::Range(1, 100))
        ->capture_default_str();
    audit->add_option("--tolerance", command->wish.tolerance, "CIEDE2000 within which a look is served")
        ->check(CLI::Range(0.1, 20.0))
        ->capture_default_str();
    audit->add_option("--ground", command->wish.grounds,
                      "What lies under the thread: white, dark, underwrap:CODE or L,a,b; may be repeated")
        ->allow_extra_args(false)
        ->capture_default_str();
    audit->add_option("--schedule", command->wish.schedules, "none, finish or preserver+finish; may be repeated")
        ->allow_extra_args(false)
        ->capture_default_str();
    audit->add_option("--picture", command->picture, "Draw the rack and its gaps: FILE.png or FILE.svg");
    audit->add_flag("--json", command->json, "For machines");
    audit->footer("Example: bindhue audit --targets asked.csv --candidates offer.csv --buy 5 --picture rack.png");
    audit->callback([command, &exit_code] { exit_code = command->run(); });
}

}  // namespace bindhue::capture::cli

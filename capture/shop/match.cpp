#include "shop/match.hpp"

#include "shop/coat_tests.hpp"
#include "shop/grounds.hpp"
#include "shop/shop.hpp"

namespace bindhue::capture {

Result<RackMatch> match_rack(const std::filesystem::path& shop, const Reading& target, const std::optional<Reading>& blank,
                             const MatchWish& wish) {
    const Result<SpoolFile> spools = load_spools(shop);
    if (!spools) return spools.error();
    RackMatch out;
    out.rack = spools->palette();
    std::vector<std::string> wanted = wish.grounds;
    if (wanted.empty()) wanted.push_back(blank ? "blank" : "dark");
    Result<std::vector<Ground>> grounds = parse_grounds(wanted, blank, out.rack, target.context);
    if (!grounds) return grounds.error();
    out.grounds = std::move(*grounds);
    RankingOptions options;
    options.tolerance = wish.tolerance;
    options.top = wish.top;
    Result<std::vector<Schedule>> schedules = parse_schedules(wish.schedules);
    if (!schedules) return schedules.error();
    options.schedules = std::move(*schedules);
    Result<CoatModel> model = load_coat_model(shop);
    if (!model) return model.error();
    options.coat_model = model->with(wish.finish);
    Result<std::vector<Candidate>> candidates = rank(target, out.rack, out.grounds, options);
    if (!candidates) return candidates.error();
    out.candidates = std::move(*candidates);
    return out;
}

}  // namespace bindhue::capture

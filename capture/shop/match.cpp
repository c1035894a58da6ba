#include "shop/match.hpp"

#include "colour/coated_blank.hpp"
#include "shop/coat_tests.hpp"
#include "shop/grounds.hpp"
#include "shop/shop.hpp"

namespace bindhue::capture {

Result<RackMatch> match_rack(const std::filesystem::path& shop, const Reading& target, const std::optional<Reading>& blank,
                             const MatchWish& wish) {
    const Result<SpoolFile> spools = load_spools(shop);
    if (!spools) return spools.error();
    RackMatch out;
    out.target = target;
    if (wish.old_finish) {
        Result<Reading> found = as_new(target, *wish.old_finish);
        if (!found) return found.error();
        out.target = std::move(*found);
    }
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
    Result<std::vector<Candidate>> candidates = rank(out.target, out.rack, out.grounds, options);
    if (!candidates) return candidates.error();
    out.candidates = std::move(*candidates);
    for (Candidate& candidate : out.candidates)
        if (wish.metallic && out.rack[candidate.spool].material != Material::metallic) candidate.notes.emplace_back("the old thread is metallic, and this one will not glitter");
    if (!wish.lights.empty()) {
        const Surface asked = Surface::nearest(out.target);
        for (const Candidate& candidate : out.candidates) {
            const Surface other = Surface::nearest(candidate.predicted);
            std::vector<double>& in = out.in_light.emplace_back();
            for (const Illuminant light : wish.lights) in.push_back(ciede2000_under(light, asked.reflectance(), other.reflectance()));
        }
    }
    if (blank)
        if (Result<Reading> coated = coated_blank(*blank)) out.coated_blank = std::move(*coated);
    return out;
}

}  // namespace bindhue::capture

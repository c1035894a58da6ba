#include "shop/match.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <filesystem>

#include "support/source_dir.hpp"

using namespace bindhue;
using namespace bindhue::capture;

TEST_CASE("For a band that glitters, thread of other materials is noted as matt, and ranked all the same") {
    const std::filesystem::path shop = in_source("palettes/demo-shop");
    Reading target;
    target.lab = {75, 6, 42};  // the rack's gold foil
    target.covariance = Matrix3::diagonal({25, 4, 9});
    MatchWish wish;
    wish.top = 1000;
    const auto plain = match_rack(shop, target, {}, wish);
    wish.metallic = true;
    const auto glittering = match_rack(shop, target, {}, wish);
    REQUIRE((plain && glittering));
    REQUIRE(plain->candidates.size() == glittering->candidates.size());
    std::size_t metallic = 0;
    for (std::size_t i = 0; i < plain->candidates.size(); ++i) {
        const Candidate &before = plain->candidates[i], &now = glittering->candidates[i];
        REQUIRE(before.spool == now.spool);
        const bool is_metallic = glittering->rack[now.spool].material == Material::metallic;
        metallic += is_metallic;
        CHECK(now.notes.size() == before.notes.size() + (is_metallic ? 0 : 1));
        CHECK((is_metallic || now.notes.back().find("glitter") != std::string::npos));
    }
    CHECK(metallic > 0);
    CHECK(metallic < plain->candidates.size());
}

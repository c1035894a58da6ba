#include "bench/shop_reckoner.hpp"

#include <catch2/catch.hpp>
#include <chrono>
#include <thread>

#include "shop/coat_tests.hpp"
#include "shop/job_file.hpp"
#include "shop/rack_audit.hpp"
#include "support/temporary_folder.hpp"

using namespace bindhue;
using namespace bindhue::capture;
using namespace bindhue::capture::bench;

namespace {

using Asked = ShopReckoner::Asked;

Result<Answer> ended(ShopReckoner& reckoner, Asked asked) {
    while (true) {
        Result<Answer> answer = reckoner.answer(asked);
        if (!answer || (*answer)["state"] != "working") return answer;
        std::this_thread::sleep_for(std::chrono::milliseconds(5));
    }
}

SpoolEntry spool(const char* code, const Lab<D50>& lab) {
    SpoolEntry out;
    out.spool.code = code;
    out.spool.readings = {{lab, Matrix3::diagonal({0.04, 0.04, 0.04}), {}}};
    return out;
}

}  // namespace

TEST_CASE("The page's audit is the command's, against what the shop's jobs were read with, and begins anew when a file changes") {
    const TemporaryFolder folder;
    const auto shop = Shop::open(folder.path, Access::change);
    REQUIRE(shop);
    SpoolFile rack;
    rack.entries = {spool("red", {45, 55, 30}), spool("red too", {45, 55, 30.1})};
    REQUIRE(shop->save(rack));
    JobFile job;
    job.name = "j";
    job.job.bands = {{"red", {}, {30, 10}, 1}};
    REQUIRE(create_job(*shop, job, {},
                       R"({"format":"bindhue-reading","version":1,"bands":[{"role":"wrap","lab":[40,-30,20]},{"role":"trim","lab":[30,40,20]}]})"));

    ShopReckoner reckoner(folder.path);
    CHECK((*reckoner.answer(Asked::jobs))["state"] == "working");
    Result<Answer> first = ended(reckoner, Asked::jobs);
    REQUIRE(first);
    AuditWish wish;
    wish.jobs = true;
    const auto found = audit_rack(*shop, wish);
    REQUIRE(found);
    CHECK((*first)["served_words"] == served_in_words(*found, wish));
    CHECK((*first)["asked"]["looks"] == 2);
    CHECK((*first)["gaps"].size() == found->audit.gaps.size());
    CHECK((*first)["twins"][0]["spools"] == Answer::array({"red", "red too"}));
    CHECK((*first)["stock"][0]["spool"] == "red");
    // Kept: asked again it is there at once.
    CHECK((*reckoner.answer(Asked::jobs))["state"] == "done");

    rack.entries.push_back(spool("green", {45, -45, 25}));
    REQUIRE(shop->save(rack));
    const Result<Answer> second = ended(reckoner, Asked::jobs);
    REQUIRE(second);
    CHECK((*second)["served_words"] != (*first)["served_words"]);
    std::size_t dots = 0;
    for (const auto& level : (*second)["levels"]) dots += level["dots"].size();
    CHECK(dots > 4);
}

TEST_CASE("A rack that cannot be audited is told with what to do, and looked at again when it is mended") {
    const TemporaryFolder folder;
    ShopReckoner reckoner(folder.path);
    for (const Asked asked : {Asked::surfaces, Asked::jobs}) {
        const Result<Answer> none = ended(reckoner, asked);
        REQUIRE_FALSE(none);
        CHECK(none.error().reason == Reason::not_found);
        CHECK_FALSE(none.error().mend.empty());
    }
    const auto shop = Shop::open(folder.path, Access::change);
    SpoolFile rack;
    rack.entries = {spool("red", {45, 55, 30})};
    REQUIRE(shop->save(rack));
    const Result<Answer> no_jobs = ended(reckoner, Asked::jobs);
    REQUIRE_FALSE(no_jobs);
    CHECK(no_jobs.error().reason == Reason::too_few);
}

#include "shop/job_file.hpp"

#include <catch2/catch.hpp>
#include <fstream>

#include "shop/atomic_file.hpp"
#include "support/temporary_folder.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

JobFile example() {
    JobFile file;
    file.name = "trout-4";
    file.date = "2026-11-26";
    file.note = "as it looks now";
    file.job.bands = {{"S1", Schedule::preserver_finish, {30, 10, 0.15, 0.15}, 2}, {"S2", {}, {3, 10, 0.2, 0.2}, 4}};
    file.job.coats = 3;
    return file;
}

Shop shop_with_thread(const TemporaryFolder& folder, double s1_metres) {
    SpoolFile rack;
    for (const char* code : {"S1", "S2"}) {
        SpoolEntry entry;
        entry.spool.code = code;
        entry.spool.readings = {{{50, 10, 10}, Matrix3::diagonal({1, 1, 1}), {}}};
        if (entry.spool.code == "S1") entry.metres_left = s1_metres;  // of S2 nobody knows
        rack.entries.push_back(entry);
    }
    Result<Shop> shop = Shop::open(folder.path, Access::change);
    REQUIRE(shop);
    REQUIRE(shop->save(rack));
    return std::move(*shop);
}

double left_on(const Shop& shop, const char* code) {
    Result<SpoolFile> rack = shop.spools();
    REQUIRE(rack);
    return rack->find(code)->metres_left.value_or(-1);
}

// 2 wraps of 200 turns, with ends and a fifth more (geometry, common practice).
constexpr double of_s1 = 1.2 * 2 * (6.3774 + 0.8);

}  // namespace

TEST_CASE("A job is kept with its photos and found again, field by field") {
    const TemporaryFolder folder;
    const Shop shop = shop_with_thread(folder, 100);
    JobFile file = example();
    file.photos = {"photo-1.jpg"};
    file.job.bands[1].ground = "underwrap:S1";
    file.job.bands[1].old_finish = *amber_of(0.75, 0.03);
    file.unknown = R"({"customer":"none"})";
    file.unknown_in_bands = {R"({"guide":3})", ""};
    REQUIRE(create_job(shop, file, {{"photo-1.jpg", "bytes"}}, "{}"));
    const auto kept = load_job(shop, "trout-4");
    REQUIRE(kept);
    CHECK(*write_job(*kept) == *write_job(file));
    CHECK(kept->job.bands[0].schedule == Schedule::preserver_finish);
    CHECK_FALSE(kept->job.bands[1].schedule);
    CHECK(kept->job.bands[0].ground.empty());
    CHECK(kept->job.bands[1].ground == "underwrap:S1");
    CHECK_FALSE(kept->job.bands[0].old_finish);
    REQUIRE(kept->job.bands[1].old_finish);
    CHECK(kept->job.bands[1].old_finish->transmittance() == Approx(0.75));
    CHECK(kept->job.bands[1].old_finish->transmittance_sd() == Approx(0.03));
    CHECK_FALSE(read_job(std::string(*write_job(file)).replace(write_job(file)->find("underwrap:S1"), 12, "mauve"), "j"));
    CHECK(kept->unknown.find("customer") != std::string::npos);
    CHECK(*read_file(job_folder(shop, "trout-4") / "photo-1.jpg") == "bytes");
    const auto all = load_jobs(shop);
    REQUIRE(all);
    REQUIRE(all->size() == 1);
    CHECK(thread_for_open_jobs(*all).at("S1") == Approx(of_s1).epsilon(1e-4));
}

TEST_CASE("A job's name cannot lead out of the shop, nor replace another job") {
    const TemporaryFolder folder;
    const Shop shop = shop_with_thread(folder, 100);
    for (const char* name : {"", ".", "..", "../x", "a/b", ".hidden", "a b", "-x", "\xC3\xA4"}) {
        INFO(name);
        JobFile file = example();
        file.name = name;
        CHECK(create_job(shop, file, {}, "").error().reason == Reason::bad_value);
        CHECK(load_job(shop, name).error().reason == Reason::bad_value);
    }
    CHECK_FALSE(std::filesystem::exists(folder.path / "jobs"));
    REQUIRE(create_job(shop, example(), {}, ""));
    JobFile other = example();
    other.note = "another";
    CHECK(create_job(shop, other, {}, "").error().reason == Reason::bad_value);
    CHECK(load_job(shop, "trout-4")->note == "as it looks now");
}

TEST_CASE("What a cut off run leaves behind is no job, and does not stand in the way") {
    const TemporaryFolder folder;
    const Shop shop = shop_with_thread(folder, 100);
    std::filesystem::create_directories(folder.path / "jobs/.trout-4.saving/deep");
    CHECK(load_jobs(shop)->empty());
    REQUIRE(create_job(shop, example(), {}, ""));
    CHECK(load_jobs(shop)->size() == 1);
    CHECK_FALSE(std::filesystem::exists(folder.path / "jobs/.trout-4.saving"));
}

TEST_CASE("A job's thread is taken off the spools once") {
    const TemporaryFolder folder;
    const Shop shop = shop_with_thread(folder, 100);
    REQUIRE(create_job(shop, example(), {}, ""));
    const auto finished = finish_job(shop, "trout-4");
    REQUIRE(finished);
    CHECK(finished->state == JobState::done);
    REQUIRE(finished->taken.size() == 1);
    CHECK(left_on(shop, "S1") == Approx(100 - of_s1).epsilon(1e-4));
    CHECK(left_on(shop, "S2") == -1);
    CHECK(finish_job(shop, "trout-4").error().reason == Reason::bad_value);
    CHECK(left_on(shop, "S1") == Approx(100 - of_s1).epsilon(1e-4));
    CHECK(thread_for_open_jobs(*load_jobs(shop)).empty());
}

TEST_CASE("Cut off before or after the spools were saved, taking the thread is taken up again") {
    for (const bool spools_saved : {false, true}) {
        INFO(spools_saved);
        const TemporaryFolder folder;
        const Shop shop = shop_with_thread(folder, spools_saved ? 60 : 100);
        JobFile file = example();
        file.state = JobState::taking;
        file.taken = {{"S1", 100, 60}};
        REQUIRE(create_job(shop, file, {}, ""));
        const auto finished = finish_job(shop, "trout-4");
        REQUIRE(finished);
        CHECK(left_on(shop, "S1") == 60);
        CHECK(load_job(shop, "trout-4")->state == JobState::done);
    }
    const TemporaryFolder folder;
    const Shop shop = shop_with_thread(folder, 70);  // weighed again meanwhile
    JobFile file = example();
    file.state = JobState::taking;
    file.taken = {{"S1", 100, 60}};
    REQUIRE(create_job(shop, file, {}, ""));
    const auto refused = finish_job(shop, "trout-4");
    REQUIRE_FALSE(refused);
    CHECK(refused.error().what.find("S1") != std::string::npos);
    CHECK(left_on(shop, "S1") == 70);
    CHECK(load_job(shop, "trout-4")->state == JobState::taking);
}

TEST_CASE("A job without its spool, or in another's folder, is refused") {
    const TemporaryFolder folder;
    const Shop shop = shop_with_thread(folder, 5);
    JobFile file = example();
    file.job.bands[1].spool = "S9";
    REQUIRE(create_job(shop, file, {}, ""));
    CHECK(finish_job(shop, "trout-4").error().reason == Reason::not_found);
    CHECK(load_job(shop, "trout-4")->state == JobState::open);
    CHECK(finish_job(shop, "none").error().reason == Reason::not_found);
    std::filesystem::rename(folder.path / "jobs/trout-4", folder.path / "jobs/other");
    CHECK(load_jobs(shop).error().reason == Reason::bad_value);
}

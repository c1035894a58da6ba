#include "shop/shop_check.hpp"

#include <catch2/catch.hpp>
#include <fstream>

#include "shop/atomic_file.hpp"
#include "shop/coat_tests.hpp"
#include "shop/job_file.hpp"
#include "support/temporary_folder.hpp"

using namespace bindhue;
using namespace bindhue::capture;
namespace fs = std::filesystem;

namespace {

void save_rack(const Shop& shop, const char* code) {
    SpoolFile rack;
    SpoolEntry entry;
    entry.spool.code = code;
    entry.spool.readings = {{{50, 10, 10}, Matrix3::diagonal({1, 1, 1}), {}}};
    rack.entries.push_back(entry);
    REQUIRE(shop.save(rack));
}

Shop shop_in(const fs::path& folder) {
    Result<Shop> shop = Shop::open(folder, Access::change);
    REQUIRE(shop);
    return std::move(*shop);
}

void damage(const fs::path& path) { std::ofstream(path, std::ios::trunc) << R"({"format":"bindhue-)"; }

std::string code_in(const Shop& shop) {
    const auto rack = shop.spools();
    return rack ? rack->entries[0].spool.code : "";
}

}  // namespace

TEST_CASE("Each file of a shop is read by its own reader, and what is damaged is told with its fault") {
    const TemporaryFolder folder;
    const Shop shop = shop_in(folder.path);
    CHECK(check(shop)->files.empty());
    CHECK(check(shop)->sound());
    save_rack(shop, "A");
    save_rack(shop, "B");
    REQUIRE(save_coat_tests(shop.folder(), {}));
    JobFile job;
    job.name = "j";
    job.job.bands = {{"B", {}, {30, 10}, 1}};
    REQUIRE(create_job(shop, job, {}, R"({"format":"bindhue-reading","version":1,"bands":[]})"));
    auto found = check(shop);
    REQUIRE(found);
    REQUIRE(found->files.size() == 4);
    CHECK(found->sound());
    CHECK(found->files[0].name == "spools.json");
    CHECK(found->files[0].previous.sound());
    CHECK_FALSE(found->files[1].previous.there);

    for (const char* name : {"spools.json", "coat-tests.json", "jobs/j/job.json", "jobs/j/reading.json"}) {
        INFO(name);
        const std::string sound = *read_file(folder.path / name);
        damage(folder.path / name);
        found = check(shop);
        CHECK_FALSE(found->sound());
        for (const FileCheck& file : found->files) {
            CHECK(file.damaged() == (file.name == name));
            if (file.damaged()) CHECK(file.current.fault->where.find(name) != std::string::npos);
        }
        std::ofstream(folder.path / name, std::ios::trunc) << sound;
    }
    // A file of one kind in the place of another is damage too; one that is gone, where a version before shows that it was there, as well.
    fs::copy_file(folder.path / "coat-tests.json", folder.path / "spools.json", fs::copy_options::overwrite_existing);
    CHECK(check(shop)->files[0].damaged());
    fs::remove(folder.path / "spools.json");
    CHECK(check(shop)->files[0].damaged());
    CHECK_FALSE(check(shop)->files[0].current.there);
}

TEST_CASE("The version before is put back, and what it replaces is kept") {
    const TemporaryFolder folder;
    const Shop shop = shop_in(folder.path);
    save_rack(shop, "A");
    save_rack(shop, "B");
    const auto undone = restore(shop, "spools.json");
    REQUIRE(undone);
    CHECK(undone->aside == "spools.json.aside");
    CHECK(code_in(shop) == "A");
    CHECK(read_file(folder.path / "spools.json.aside")->find("\"B\"") != std::string::npos);

    damage(folder.path / "spools.json");
    const auto mended = restore(shop, "spools.json");
    REQUIRE(mended);
    CHECK(mended->aside == "spools.json.aside-2");
    CHECK(code_in(shop) == "A");
    CHECK(*read_file(folder.path / "spools.json.aside-2") == R"({"format":"bindhue-)");

    fs::remove(folder.path / "spools.json");
    const auto back = restore(shop, "spools.json");
    REQUIRE(back);
    CHECK(back->aside.empty());
    CHECK(code_in(shop) == "A");
}

TEST_CASE("What cannot be put back is refused and left as it is") {
    const TemporaryFolder folder;
    const Shop shop = shop_in(folder.path);
    save_rack(shop, "A");
    CHECK(restore(shop, "spools.json").error().reason == Reason::not_found);
    for (const char* name : {"", "..", "../spools.json", "/etc/passwd", ".lock", "spools.json.previous", "jobs/x/job.json"}) {
        INFO(name);
        CHECK(restore(shop, name).error().reason == Reason::not_found);
    }
    damage(folder.path / "spools.json.previous");
    const auto refused = restore(shop, "spools.json");
    REQUIRE_FALSE(refused);
    CHECK(refused.error().where.find("spools.json.previous") != std::string::npos);
    CHECK(code_in(shop) == "A");
}

TEST_CASE("A shop's own files are known by whatever path leads there") {
    const TemporaryFolder folder;
    const Shop shop = shop_in(folder.path / "shop");
    save_rack(shop, "A");
    fs::create_directory_symlink(folder.path / "shop", folder.path / "link");
    fs::create_symlink(folder.path / "shop/spools.json", folder.path / "rack.json");
    for (const char* own : {"shop/spools.json", "shop/./spools.json", "link/spools.json", "rack.json", "shop/coat-tests.json",
                            "shop/spools.json.previous", "shop/.lock", "shop/jobs/x.csv", "other/../shop/spools.json"}) {
        INFO(own);
        CHECK(is_own_file(shop, folder.path / own));
    }
    for (const char* other : {"spools.json", "shop/rack.csv", "shop2/spools.json"}) {
        INFO(other);
        CHECK_FALSE(is_own_file(shop, folder.path / other));
    }
}

TEST_CASE("What a save that was cut off left behind goes with the next change, and nothing else") {
    const TemporaryFolder folder;
    {
        const Shop shop = shop_in(folder.path);
        save_rack(shop, "A");
    }
    fs::create_directories(folder.path / "jobs/j");
    for (const char* left : {".spools.json.12-0.saving", "jobs/j/.job.json.12-1.saving"}) std::ofstream(folder.path / left) << "half";
    fs::create_directories(folder.path / "jobs/.k.saving/deep");
    std::ofstream(folder.path / "notes.saving") << "mine";
    {
        const auto looking = Shop::open(folder.path, Access::read);
        REQUIRE(looking);
        CHECK(check(*looking)->leftovers.size() == 3);
    }
    const Shop shop = shop_in(folder.path);
    CHECK(check(shop)->leftovers.empty());
    CHECK(fs::exists(folder.path / "notes.saving"));
    CHECK(fs::exists(folder.path / "jobs/j"));
    CHECK(code_in(shop) == "A");
}

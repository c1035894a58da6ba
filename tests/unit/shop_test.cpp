#include "shop/shop.hpp"

#include <stdlib.h>

#include <catch2/catch.hpp>

#include "support/temporary_folder.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

SpoolFile one_spool() {
    SpoolFile file;
    SpoolEntry entry;
    entry.spool.code = "Q-1";
    entry.spool.readings.emplace_back();
    file.entries.push_back(entry);
    return file;
}

}  // namespace

TEST_CASE("A new shop is made when it is opened for change, and what is saved is read") {
    const TemporaryFolder folder;
    const auto place = folder.path / "my" / "shop";
    CHECK(Shop::open(place, Access::read).error().reason == Reason::not_found);
    {
        const auto shop = Shop::open(place, Access::change);
        REQUIRE(shop);
        CHECK(shop->spools()->entries.empty());
        REQUIRE(shop->save(one_spool()));
    }
    const auto shop = Shop::open(place, Access::read);
    REQUIRE(shop);
    REQUIRE(shop->spools());
    CHECK(shop->spools()->entries[0].spool.code == "Q-1");
}

TEST_CASE("A shop opened to be read that has no spools says so") {
    const TemporaryFolder folder;
    const auto shop = Shop::open(folder.path, Access::read);
    REQUIRE(shop);
    REQUIRE_FALSE(shop->spools());
    CHECK(shop->spools().error().reason == Reason::not_found);
}

TEST_CASE("One program at a time changes a shop, and reading goes on meanwhile") {
    const TemporaryFolder folder;
    {
        auto first = Shop::open(folder.path, Access::change);
        REQUIRE(first);
        const auto second = Shop::open(folder.path, Access::change);
        REQUIRE_FALSE(second);
        CHECK(second.error().reason == Reason::storage);
        CHECK(Shop::open(folder.path, Access::read));
        const Shop moved = std::move(*first);
        CHECK_FALSE(Shop::open(folder.path, Access::change));
    }
    CHECK(Shop::open(folder.path, Access::change));
}

TEST_CASE("The default folder follows the user's data folder") {
    const char* const old_data = ::getenv("XDG_DATA_HOME");
    const std::string keep = old_data ? old_data : "";
    ::setenv("XDG_DATA_HOME", "/data/mine", 1);
    CHECK(*default_shop_folder() == "/data/mine/bindhue");
    ::setenv("XDG_DATA_HOME", "not/absolute", 1);
    const char* const old_home = ::getenv("HOME");
    const std::string home = old_home ? old_home : "";
    ::setenv("HOME", "/home/somebody", 1);
    CHECK(*default_shop_folder() == "/home/somebody/.local/share/bindhue");
    if (old_home) ::setenv("HOME", home.c_str(), 1);
    if (old_data)
        ::setenv("XDG_DATA_HOME", keep.c_str(), 1);
    else
        ::unsetenv("XDG_DATA_HOME");
}

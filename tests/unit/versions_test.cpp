#include "shop/versions.hpp"

#include <catch2/catch.hpp>
#include <fstream>

#include "shop/atomic_file.hpp"
#include "support/temporary_folder.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

// A format of three versions: the first had inches, the second had one length only.
void to_millimetres(const JsonCursor& older, Json& newer) {
    newer["length_mm"] = 25.4 * older["length_inches"].number(0, 100);
    newer.erase("length_inches");
}
void to_a_list(const JsonCursor& older, Json& newer) {
    newer["lengths_mm"] = {older["length_mm"].number(0, 10'000)};
    newer.erase("length_mm");
}
constexpr Migration steps[] = {to_millimetres, to_a_list};
constexpr FileFormat rulers{"rulers", steps};
constexpr FileFormat rulers_before{"rulers", {steps, 1}};

const std::string first = R"({"format":"rulers","version":1,"length_inches":2,"colour":{"name":"red","n":18446744073709551615}})";

}  // namespace

TEST_CASE("A file of an older version is read as one of today's, step by step, with the fields that no step knows") {
    Result<JsonDocument> read = read_format(first, "r.json", rulers);
    REQUIRE(read);
    CHECK(read->root()["version"].integer(1, 9) == 3);
    CHECK(read->root()["lengths_mm"][0].number(0, 1000) == Approx(50.8));
    CHECK(read->root().unknown({"format", "version", "lengths_mm"}) == R"({"colour":{"name":"red","n":18446744073709551615}})");
    CHECK(*version_in(first, "r.json", rulers) == 1);
    CHECK(read_format(R"({"format":"rulers","version":2,"length_mm":3})", "r.json", rulers));
    CHECK(read_format(R"({"format":"rulers","version":3})", "r.json", rulers));
    CHECK(opening(rulers).dump() == R"({"format":"rulers","version":3})");
}

TEST_CASE("What keeps an older file from being read is told with its place in that file") {
    const auto refused = [](const std::string& text) {
        const Result<JsonDocument> read = read_format(text, "r.json", rulers);
        REQUIRE_FALSE(read);
        CHECK_FALSE(read.error().mend.empty());
        return read.error();
    };
    CHECK(refused(R"({"format":"rulers","version":1,"length_inches":"two"})").where == "r.json: length_inches");
    CHECK(refused(R"({"format":"rulers","version":1})").what == "The field \"length_inches\" is missing.");
    CHECK(refused(R"({"format":"rulers","version":2,"length_mm":-1})").where == "r.json: length_mm");
    CHECK(refused(R"({"format":"rods","version":1})").where == "r.json: format");
    for (const char* version : {"0", "-1", "1.5", "\"1\"", "null", "[]"})
        CHECK(refused(std::string(R"({"format":"rulers","version":)") + version + "}").where.starts_with("r.json"));
    const Error later = refused(R"({"format":"rulers","version":4})");
    CHECK(later.where == "r.json: version");
    CHECK(later.what == "The file was written by a later version of this program: it is of version 4 of its format, and this program knows them up to 3.");
}

TEST_CASE("The first save in a newer version keeps the older file for good, and no later one does") {
    const TemporaryFolder folder;
    const auto path = folder.path / "r.json";
    const auto names = [&] {
        std::size_t n = 0;
        for (const auto& entry : std::filesystem::directory_iterator(folder.path)) n += entry.is_regular_file();
        return n;
    };
    const auto text_of = [&](const char* ending) { return *read_file(path.string() + ending); };
    std::ofstream(path) << first;
    const std::string second = R"({"format":"rulers","version":2,"length_mm":50})", third = R"({"format":"rulers","version":3,"lengths_mm":[50]})";
    REQUIRE(save_in_format(path, second, rulers_before));
    CHECK(text_of("") == second);
    CHECK(text_of(".previous") == first);
    CHECK(text_of(".version-1") == first);
    REQUIRE(save_in_format(path, second, rulers_before));
    CHECK(names() == 3);
    REQUIRE(save_in_format(path, third, rulers));
    CHECK(text_of(".version-1") == first);
    CHECK(text_of(".version-2") == second);
    CHECK(text_of("") == third);

    // An older file put back and changed is another older file: neither is lost.
    const std::string another = R"({"format":"rulers","version":1,"length_inches":3})";
    std::ofstream(path, std::ios::trunc) << another;
    REQUIRE(save_in_format(path, third, rulers));
    CHECK(text_of(".version-1") == first);
    CHECK(text_of(".version-1-2") == another);
}

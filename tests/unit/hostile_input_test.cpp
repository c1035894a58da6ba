// Every parser of files against a small corpus (tests/fuzz) and thousands of changed copies of it: it reads,
// or says what is wrong, where and how to mend it; under the sanitizers it does so without a fault.
#include <algorithm>
#include <catch2/catch.hpp>
#include <filesystem>
#include <functional>
#include <random>

#include "shop/atomic_file.hpp"
#include "shop/card_layout.hpp"
#include "shop/patch_table.hpp"
#include "shop/spool_file.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

struct Counts {
    int files = 0, read = 0, refused = 0;
};

template <class T>
bool answered(const Result<T>& result, Counts& counts) {
    if (result) {
        ++counts.read;
        return true;
    }
    ++counts.refused;
    const Error& error = result.error();
    return !error.what.empty() && !error.where.empty() && !error.mend.empty();
}

std::string changed(std::string text, std::mt19937& random) {
    const auto below = [&](std::size_t n) { return static_cast<std::size_t>(random() % n); };
    static const std::vector<std::string> pieces{"\"",   ",",       "[",  "]",     "{",
                                                 "}",    "null",    "-1", "1e308", "1e-308",
                                                 "0",    "\n",      "\r", "\xff",  "999999999999999999999",
                                                 "true", "\\u0000", ":"};
    for (std::size_t n = 1 + below(4); n > 0 && !text.empty(); --n) {
        const std::size_t at = below(text.size()), length = std::min(below(12), text.size() - at);
        switch (below(4)) {
            case 0:
                text.erase(at, length);
                break;
            case 1:
                text.insert(at, pieces[below(pieces.size())]);
                break;
            case 2:
                text[at] = static_cast<char>(below(256));
                break;
            default:
                text.replace(at, length, pieces[below(pieces.size())]);
                break;
        }
    }
    return text;
}

Counts attack(const std::string& folder, std::size_t copies,
              const std::function<bool(const std::string&, Counts&)>& parse) {
    Counts counts;
    std::mt19937 random(20261101);
    std::vector<std::filesystem::path> files;
    for (const auto& entry : std::filesystem::directory_iterator(BINDHUE_SOURCE_DIR "/tests/fuzz/" + folder))
        files.push_back(entry.path());
    std::sort(files.begin(), files.end());
    for (const auto& path : files) {
        ++counts.files;
        const auto text = read_file(path);
        REQUIRE(text);
        INFO(path.filename().string());
        CHECK(parse(*text, counts));
        bool sound = true;
        // Large files are slow to copy and to parse, and no better.
        const std::size_t n = text->size() > 10'000 ? copies / 20 : copies;
        for (std::size_t i = 0; i < n; ++i) sound = parse(changed(*text, random), counts) && sound;
        CHECK(sound);
    }
    return counts;
}

}  // namespace

TEST_CASE("Whatever a card's file holds, it is read or refused with reasons") {
    const Counts counts = attack("cards", 1500, [](const std::string& text, Counts& c) {
        const auto card = read_card_layout(text, "card.json");
        // What was read can be written, and read again.
        if (card) {
            const auto written = write_card_layout(*card);
            if (!written || !read_card_layout(*written, "again")) return false;
        }
        return answered(card, c);
    });
    CHECK(counts.files >= 9);
    CHECK(counts.read > 20);
    CHECK(counts.refused > 1000);
}

TEST_CASE("Whatever a rack's file holds, it is read or refused with reasons") {
    const Counts counts = attack("spools", 1500, [](const std::string& text, Counts& c) {
        const auto file = read_spool_file(text, "spools.json");
        if (file) {
            const auto written = write_spool_file(*file);
            if (!written || !read_spool_file(*written, "again")) return false;
        }
        return answered(file, c);
    });
    CHECK(counts.files >= 6);
    CHECK(counts.read > 20);
    CHECK(counts.refused > 1000);
}

TEST_CASE("Whatever a table of patches holds, it is read or refused with reasons") {
    const Counts counts = attack("tables", 1000, [](const std::string& text, Counts& c) {
        return answered(read_patch_table(text, "t.csv", false), c) &&
               answered(read_patch_table(text, "t.csv", true), c);
    });
    CHECK(counts.files >= 7);
    CHECK(counts.read > 20);
    CHECK(counts.refused > 1000);
}

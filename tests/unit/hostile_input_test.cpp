// Every parser of files against a small corpus (tests/fuzz) and thousands of changed copies of it: it reads,
// or says what is wrong, where and how to mend it; under the sanitizers it does so without a fault.
#include <unistd.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <cstdio>
#include <filesystem>
#include <functional>
#include <random>

#include "photo/photo.hpp"
#include "shop/atomic_file.hpp"
#include "shop/card_cgats.hpp"
#include "shop/card_layout.hpp"
#include "shop/patch_table.hpp"
#include "shop/spool_cgats.hpp"
#include "shop/spool_file.hpp"
#include "support/source_dir.hpp"

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
    for (const auto& entry : std::filesystem::directory_iterator(in_source("tests/fuzz/") + folder))
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

TEST_CASE("Whatever a CGATS file holds, it is read or refused with reasons") {
    const Counts counts = attack("cgats", 1500, [](const std::string& text, Counts& c) {
        const auto table = read_spool_cgats(text, "t.txt", {Material::nylon, 0.15, std::nullopt});
        if (table) {
            // What was read can be written, unless a text has both kinds of quotes, and read again.
            const auto written = write_spool_cgats({"", table->entries, ""});
            if (written && !read_spool_cgats(*written, "again")) return false;
        }
        return answered(table, c);
    });
    CHECK(counts.files >= 6);
    CHECK(counts.read > 20);
    CHECK(counts.refused > 1000);
}

TEST_CASE("Whatever a file of measurements holds, a card gets its values whole or not at all") {
    const CardLayout card = bench_card();
    const Counts counts = attack("card-measurements", 1500, [&](const std::string& text, Counts& c) {
        std::vector<std::string> notes;
        const auto values = read_card_cgats(text, "m.txt", card, {}, "2026-11-26", notes);
        if (!values) return answered(values, c);
        // Every patch has a value, and what was made of it can be written and read again.
        const auto print = with_values(card, *values);
        if (print) {
            const auto written = write_card_layout(*print);
            if (!written || !read_card_layout(*written, "again")) return false;
        }
        return answered(print, c);
    });
    CHECK(counts.files >= 3);
    CHECK(counts.read > 20);
    CHECK(counts.refused > 1000);
}

namespace {

// What is written to standard error while it lives.
class Overheard {
  public:
    Overheard() : kept_(::dup(STDERR_FILENO)), file_(std::tmpfile()) { ::dup2(::fileno(file_), STDERR_FILENO); }
    ~Overheard() {
        ::dup2(kept_, STDERR_FILENO);
        ::close(kept_);
        std::fclose(file_);
    }
    Overheard(const Overheard&) = delete;
    Overheard& operator=(const Overheard&) = delete;
    long length() const { return std::fseek(file_, 0, SEEK_END) == 0 ? std::ftell(file_) : -1; }

  private:
    int kept_;
    std::FILE* file_;
};

}  // namespace

TEST_CASE("Whatever bytes a photo holds, it is decoded or refused with reasons, and no decoder prints") {
#ifdef BINDHUE_SANITIZE
    constexpr int copies = 60;
#else
    constexpr int copies = 300;
#endif
    std::mt19937 random(20261125);
    const auto below = [&](std::size_t n) { return static_cast<std::size_t>(random() % n); };
    std::vector<std::filesystem::path> files;
    for (const auto& entry : std::filesystem::directory_iterator(in_source("tests/fuzz/photos")))
        files.push_back(entry.path());
    std::sort(files.begin(), files.end());
    CHECK(files.size() >= 9);
    Counts counts;
    long printed = 0;
    for (const auto& path : files) {
        const auto text = read_file(path);
        REQUIRE(text);
        const std::vector<std::uint8_t> whole(text->begin(), text->end());
        INFO(path.filename().string());
        bool sound = true;
        const auto decoded = [&](std::span<const std::uint8_t> bytes) {
            const auto photo = decode_photo(bytes, "photo");
            sound = answered(photo, counts) && sound;
            if (photo) sound = sound && photo->bgr.channels() == 3 && !photo->bgr.empty();
            return static_cast<bool>(photo);
        };
        {
            const Overheard overheard;
            const bool claims_too_much = path.stem().string().starts_with("claims-");
            sound = decoded(whole) != claims_too_much && sound;
            for (std::size_t i = 0; i < 40; ++i) decoded(std::span(whole).first(whole.size() * i / 40));
            for (int i = 0; i < copies; ++i) {
                std::vector<std::uint8_t> file = whole;
                if (below(4) == 0) file.resize(below(file.size()));
                // Half of the changes fall into the head, where the structure lies.
                for (std::size_t n = 1 + below(6); n > 0 && !file.empty(); --n)
                    file[below(below(2) == 0 ? std::min<std::size_t>(file.size(), 256) : file.size())] ^=
                        static_cast<std::uint8_t>(1U << below(8));
                decoded(file);
            }
            printed = overheard.length();
        }
        CHECK(sound);
        CHECK(printed == 0);
    }
    CHECK(counts.read > 100);
    CHECK(counts.refused > 1000);
}

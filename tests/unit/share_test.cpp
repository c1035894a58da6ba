#include "bench/share.hpp"

#include <catch2/catch.hpp>
#include <algorithm>
#include <cmath>
#include <set>

#include "support/qr_reader.hpp"

using namespace bindhue::capture::bench;
using namespace std::chrono_literals;

TEST_CASE("The code lets one client in, once, as a person types it") {
    Share share;
    const auto now = Share::Clock::now();
    REQUIRE(share.code().size() == 8);
    CHECK(share.code() != Share().code());
    CHECK(share.code().find_first_of("IO01") == std::string::npos);
    std::string typed = share.code();
    typed += "-";
    for (char& c : typed)
        if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
    CHECK(share.say(typed, now) == Share::Said::right);
    CHECK(share.say(share.code(), now) == Share::Said::used);
    CHECK(share.say("ABCDEFGH", now + 1h) == Share::Said::used);
}

TEST_CASE("Guesses are slowed, and after ten the code is void") {
    Share share;
    auto now = Share::Clock::now();
    CHECK(share.say("", now) == Share::Said::wrong);
    CHECK(share.say(share.code(), now + 1s) == Share::Said::too_soon);  // not even looked at
    for (int i = 1; i < Share::most_wrong - 1; ++i) {
        now += Share::pause;
        CHECK(share.say(share.code().substr(1), now) == Share::Said::wrong);
        CHECK(share.say("ABCDEFGH", now) == Share::Said::too_soon);
    }
    now += Share::pause;
    CHECK(share.say(std::string(100000, 'A'), now) == Share::Said::refused);
    CHECK(share.say(share.code(), now + 1h) == Share::Said::refused);
}

TEST_CASE("Only the cookie that was given is known, among others too") {
    const Share share, other;
    const std::string set = share.cookie();
    CHECK(set.find("; HttpOnly; SameSite=Strict") != std::string::npos);
    const std::string pair = set.substr(0, set.find(';'));
    CHECK(share.knows({pair}));
    CHECK(share.knows({"a=b; " + pair + "; c=d"}));
    CHECK(share.knows({"a=b", pair}));
    CHECK_FALSE(other.knows({pair}));
    for (const std::string& bad : {std::string(), std::string(";"), std::string("bindhue-bench="), pair.substr(0, pair.size() - 1), pair + "0", "x" + pair, std::string(10000, ';')})
        CHECK_FALSE(share.knows({bad}));
    CHECK_FALSE(share.knows({}));
}

TEST_CASE("What cannot be guessed is drawn evenly from its digits") {
    std::set<std::string> seen;
    std::size_t ones = 0;
    for (int i = 0; i < 400; ++i) {
        const std::string text = unguessable("01", 100);
        ones += static_cast<std::size_t>(std::count(text.begin(), text.end(), '1'));
        seen.insert(text);
    }
    CHECK(seen.size() == 400);
    CHECK(std::abs(static_cast<double>(ones) - 20000) < 500);  // five standard deviations of 40000 tosses
}

TEST_CASE("The QR code on the terminal says the address") {
    for (const std::string& said : {std::string("http://192.0.2.7:4610/#ABCDEFGH"), std::string("http://198.51.100.200:65535/#ZYXWVUTS")}) {
        const auto text = qr_for_terminal(said);
        REQUIRE(text);
        // Each character is two modules, one above the other; what is not a block is dark.
        std::vector<std::vector<bool>> dark;
        for (std::size_t at = 0; at < text->size();) {
            const std::size_t end = text->find('\n', at);
            std::string line = text->substr(at, end - at);
            at = end + 1;
            REQUIRE(line.starts_with("\x1b[97;40m"));
            line = line.substr(8, line.rfind('\x1b') - 8);
            std::vector<bool> upper, lower;
            for (std::size_t i = 0; i < line.size();) {
                const std::string c = line.substr(i, line[i] == ' ' ? 1 : 3);
                upper.push_back(c != "\u2588" && c != "\u2580");
                lower.push_back(c != "\u2588" && c != "\u2584");
                i += c.size();
            }
            dark.push_back(upper);
            dark.push_back(lower);
        }
        // The quiet zone is four modules wide; the last line may hold half a row more.
        constexpr std::size_t quiet = 4;
        const std::size_t size = dark[0].size() - 2 * quiet;
        REQUIRE(dark.size() >= size + 2 * quiet);
        std::vector<std::vector<bool>> code;
        for (std::size_t r = 0; r < dark.size(); ++r) {
            const auto edge = dark[r].begin() + quiet;
            const bool inside = r >= quiet && r < quiet + size;
            CHECK(std::none_of(dark[r].begin(), inside ? edge : dark[r].end(), [](bool d) { return d; }));
            if (inside) code.emplace_back(edge, edge + static_cast<std::ptrdiff_t>(size));
        }
        const auto read = qr_text(code);
        REQUIRE(read);
        CHECK(*read == said);
    }
    CHECK_FALSE(qr_for_terminal(std::string(5000, 'x')));
}

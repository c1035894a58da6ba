#include "bench/guard.hpp"

#include <catch2/catch.hpp>

using namespace bindhue::capture::bench;

namespace {

constexpr int port = 4610;

RequestHead get(const std::string& path) { return {"GET", path, {"127.0.0.1:4610"}, {}, {}, {}, {}, {}}; }

RequestHead photo() {
    return {"POST", "/api/readings", {"127.0.0.1:4610"}, {"http://127.0.0.1:4610"}, {"same-origin"}, {"1000"}, {}, {}};
}

int status(const RequestHead& head) {
    const auto refusal = refuse(head, {.port = port});
    if (refusal) {
        CHECK_FALSE(refusal->what.empty());
        CHECK_FALSE(refusal->mend.empty());
    }
    return refusal ? refusal->status : 0;
}

}  // namespace

TEST_CASE("The page's own requests pass") {
    CHECK(status(get("/")) == 0);
    CHECK(status(get("/api/shop")) == 0);
    CHECK(status(photo()) == 0);
    CHECK(body_bytes(photo()) == 1000);
    RequestHead named = photo();
    named.host = {"LocalHost:4610"};
    named.origin = {"http://localhost:4610"};
    CHECK(status(named) == 0);
}

TEST_CASE("A name that points at this machine is not this machine (DNS rebinding)") {
    for (const char* host : {"rods.example", "rods.example:4610", "127.0.0.1", "127.0.0.1:80", "127.0.0.1:46100",
                             "127.0.0.1:4610.rods.example", "localhost.rods.example:4610", "", "[::1]:4610", "0.0.0.0:4610"}) {
        INFO(host);
        RequestHead head = get("/");
        head.host = {host};
        CHECK(status(head) == 421);
    }
    RequestHead none = get("/"), twice = get("/");
    none.host = {};
    twice.host = {"127.0.0.1:4610", "rods.example"};
    CHECK(status(none) == 421);
    CHECK(status(twice) == 421);
}

TEST_CASE("Shared, this machine answers to its own addresses too, and to no other") {
    const Served shared{.port = port, .hosts = {"127.0.0.1", "localhost", "192.0.2.7"}};  // RFC 5737: an address for examples
    RequestHead head = photo();
    head.host = {"192.0.2.7:4610"};
    head.origin = {"http://192.0.2.7:4610"};
    CHECK(status(head) == 421);
    CHECK_FALSE(refuse(head, shared));
    head.origin = {"http://192.0.2.8:4610"};
    CHECK(refuse(head, shared)->status == 403);
    head.host = {"192.0.2.8:4610"};
    CHECK(refuse(head, shared)->status == 421);
}

TEST_CASE("Another page may link to the page, and nothing more") {
    RequestHead link = get("/"), look = get("/api/shop");
    link.fetch_site = look.fetch_site = {"cross-site"};
    CHECK(status(link) == 0);
    CHECK(status(look) == 403);
    for (const char* origin : {"http://rods.example", "null", "https://127.0.0.1:4610", "http://127.0.0.1:4611", "",
                               "http://localhost:4610"}) {
        INFO(origin);
        RequestHead head = photo();
        head.origin = {origin};
        CHECK(status(head) == 403);
    }
    RequestHead none = photo(), twice = photo(), foreign = photo();
    none.origin = {};
    twice.origin = {"http://127.0.0.1:4610", "http://127.0.0.1:4610"};
    foreign.fetch_site = {"same-site"};
    CHECK(status(none) == 403);
    CHECK(status(twice) == 403);
    CHECK(status(foreign) == 403);
}

TEST_CASE("A body says its length, once, and is no larger than a photo") {
    const auto with_length = [](std::vector<std::string> lengths) {
        RequestHead head = photo();
        head.content_length = std::move(lengths);
        return status(head);
    };
    CHECK(with_length({std::to_string(largest_photo_bytes)}) == 0);
    CHECK(with_length({std::to_string(largest_photo_bytes + 1)}) == 413);
    CHECK(with_length({"18446744073709551616"}) == 400);
    RequestHead form = photo(), frame = photo();
    form.path = "/api/readings/0123456789abcdef0123456789abcdef/job";
    frame.path = "/api/frames";
    form.content_length = {std::to_string(largest_form_bytes + 1)};
    frame.content_length = {std::to_string(largest_frame_bytes + 1)};
    CHECK(status(form) == 413);
    CHECK(status(frame) == 413);
    form.content_length = {std::to_string(largest_form_bytes)};
    frame.content_length = {std::to_string(largest_frame_bytes)};
    CHECK(status(form) == 0);
    CHECK(status(frame) == 0);
    for (const char* text : {"", "-1", "0x10", "1e3", " 5", "5 ", "5,5"}) {
        INFO(text);
        CHECK(with_length({text}) == 400);
    }
    CHECK(with_length({"0"}) == 400);
    CHECK(with_length({}) == 400);
    CHECK(with_length({"10", "20"}) == 400);
    RequestHead chunked = photo(), packed = photo(), get_with_body = get("/");
    chunked.transfer_encoding = {"chunked"};
    packed.content_encoding = {"gzip"};
    get_with_body.content_length = {"7"};
    CHECK(status(chunked) == 411);
    CHECK(status(packed) == 415);
    CHECK(status(get_with_body) == 400);
}

TEST_CASE("No other method is known") {
    for (const char* method : {"PUT", "DELETE", "PATCH", "OPTIONS", "CONNECT", "TRACE", "PRI", "get"}) {
        RequestHead head = get("/");
        head.method = method;
        CHECK(status(head) == 405);
    }
}

#include "bench/guard.hpp"

#include <algorithm>

#include "shop/numbers.hpp"

namespace bindhue::capture::bench {
namespace {

std::string lower(std::string text) {
    for (char& c : text)
        if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
    return text;
}

bool is_ours(const std::string& host, const Served& served) {
    return std::any_of(served.hosts.begin(), served.hosts.end(), [&](const std::string& name) {
        return host == name + ":" + std::to_string(served.port) || (served.port == 80 && host == name);
    });
}

struct Limit {
    std::size_t bytes;
    const char* mend;
};
Limit limit_of(const std::string& path) {
    if (path == "/api/readings") return {largest_photo_bytes, "make the photo smaller, or crop it to the card"};
    if (path == "/api/frames") return {largest_frame_bytes, "send smaller frames"};
    return {largest_form_bytes, "say less at once"};
}

}  // namespace

std::optional<Refusal> refuse(const RequestHead& head, const Served& served) {
    const bool posts = head.method == "POST";
    if (!posts && head.method != "GET" && head.method != "HEAD")
        return Refusal{405, "the bench page knows no such request", "use GET or POST"};

    const std::string host = head.host.size() == 1 ? lower(head.host.front()) : "";
    if (!is_ours(host, served))
        return Refusal{421, "the bench page is served under its own address only",
                       "open http://" + served.hosts.front() + ":" + std::to_string(served.port) + "/"};
    const Refusal foreign{403, "another page asked for this", "use the bench page itself"};
    // A link to the page from elsewhere is welcome; what lies behind it is for the page alone.
    const bool page_alone = posts || head.path.starts_with("/api/");
    for (const std::string& site : head.fetch_site)
        if (page_alone && site != "same-origin" && site != "none") return foreign;
    for (const std::string& origin : head.origin)
        if (page_alone && lower(origin) != "http://" + host) return foreign;
    if (posts && head.origin.size() != 1) return foreign;

    if (!head.transfer_encoding.empty())
        return Refusal{411, "the photo came without saying its length", "choose the photo on the bench page"};
    if (!head.content_encoding.empty())
        return Refusal{415, "the photo came packed", "send the file as it is"};
    if (head.content_length.size() > 1)
        return Refusal{400, "the request says its length twice", "choose the photo on the bench page"};
    const auto bytes = whole_number(head.content_length.empty() ? "0" : head.content_length.front());
    if (!bytes) return Refusal{400, "the request's length is no number", "choose the photo on the bench page"};
    if (posts && *bytes == 0) return Refusal{400, "what was sent is empty", "choose a photo that is not"};
    if (!posts && *bytes != 0) return Refusal{400, "a question came with a body", "use POST"};
    if (const Limit limit = limit_of(head.path); *bytes > limit.bytes)
        return Refusal{413, "what was sent is larger than " + (limit.bytes >= 1 << 20 ? std::to_string(limit.bytes >> 20) + " MB" : std::to_string(limit.bytes) + " bytes"),
                       limit.mend};
    return std::nullopt;
}

std::size_t body_bytes(const RequestHead& head) {
    return head.content_length.size() == 1 ? whole_number(head.content_length.front()).value_or(0) : 0;
}

}  // namespace bindhue::capture::bench

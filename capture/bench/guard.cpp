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

bool is_ours(const std::string& host, int port) {
    for (const std::string name : {"127.0.0.1", "localhost"})
        if (host == name + ":" + std::to_string(port) || (port == 80 && host == name)) return true;
    return false;
}

}  // namespace

std::optional<Refusal> refuse(const RequestHead& head, int port) {
    const bool posts = head.method == "POST";
    if (!posts && head.method != "GET" && head.method != "HEAD")
        return Refusal{405, "the bench page knows no such request", "use GET or POST"};

    const std::string host = head.host.size() == 1 ? lower(head.host.front()) : "";
    if (!is_ours(host, port))
        return Refusal{421, "the bench page is served to this machine only, under its own address",
                       "open http://127.0.0.1:" + std::to_string(port) + "/"};
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
    if (posts && *bytes == 0) return Refusal{400, "the file is empty", "choose a photo"};
    if (!posts && *bytes != 0) return Refusal{400, "only a photo may be sent", "use POST"};
    if (*bytes > largest_photo_bytes)
        return Refusal{413, "the file is larger than " + std::to_string(largest_photo_bytes >> 20) + " MB",
                       "make the photo smaller, or crop it to the card"};
    return std::nullopt;
}

std::size_t body_bytes(const RequestHead& head) {
    return head.content_length.size() == 1 ? whole_number(head.content_length.front()).value_or(0) : 0;
}

}  // namespace bindhue::capture::bench

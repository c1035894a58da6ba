// Who may talk to the bench page: this machine's browser showing this page, and nobody else (whom share.hpp lets in besides, is for that to say).
//
// A page on the loopback address can be reached by every web page that the browser shows. Two things keep those
// out: a name of theirs that points at 127.0.0.1 (DNS rebinding) shows in Host, and a request of theirs shows in
// Origin and Sec-Fetch-Site (Fetch Metadata, W3C working draft; all current browsers send it).
#pragma once

#include <optional>
#include <string>
#include <vector>

namespace bindhue::capture::bench {

// What the guard looks at; each field as often as the request has it.
struct RequestHead {
    std::string method, path;
    std::vector<std::string> host, origin, fetch_site, content_length, transfer_encoding, content_encoding;
};

struct Refusal {
    int status = 400;
    std::string what, mend;
};

// Of a request's body, by its path: a photo, a frame of a camera, what a form says.
inline constexpr std::size_t largest_photo_bytes = std::size_t{128} << 20, largest_frame_bytes = std::size_t{2} << 20, largest_form_bytes = 8192;

// Where the page is served: the port, and the names and numbers of this machine that a client may call it by.
struct Served {
    int port = 0;
    std::vector<std::string> hosts{"127.0.0.1", "localhost"};
};

// None if the request may go on; asked before a byte of its body is read.
std::optional<Refusal> refuse(const RequestHead& head, const Served& served);

// The body's length of a request that was not refused; 0 if it has none.
std::size_t body_bytes(const RequestHead& head);

}  // namespace bindhue::capture::bench

#include "bench/share.hpp"

#include <arpa/inet.h>
#include <ifaddrs.h>
#include <net/if.h>
#include <netinet/in.h>

#include <array>
#include <cstring>
#include <random>

#include <opencv2/imgproc.hpp>

#include "media/media.hpp"

namespace bindhue::capture::bench {
namespace {

constexpr std::string_view code_digits = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789";  // no I and 1, no O and 0
constexpr std::string_view cookie_name = "bindhue-bench";

// Takes as long whether they differ early or late.
bool same(std::string_view one, std::string_view other) {
    if (one.size() != other.size()) return false;
    unsigned differs = 0;
    for (std::size_t i = 0; i < one.size(); ++i) differs |= static_cast<unsigned char>(one[i]) ^ static_cast<unsigned char>(other[i]);
    return differs == 0;
}

std::string plain(std::string_view code) {
    std::string out;
    for (const char c : code) {
        if (c >= 'a' && c <= 'z') out += static_cast<char>(c - 'a' + 'A');
        if ((c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9')) out += c;
    }
    return out;
}

}  // namespace

std::string unguessable(std::string_view digits, std::size_t count) {
    std::random_device source;  // the system's generator, by libstdc++
    std::uniform_int_distribution<std::size_t> one(0, digits.size() - 1);
    std::string out;
    while (out.size() < count) out += digits[one(source)];
    return out;
}

Share::Share() : code_(unguessable(code_digits, 8)), token_(unguessable("0123456789abcdef", 32)) {}

Share::Said Share::say(std::string_view code, Clock::time_point now) {
    const std::lock_guard lock(mutex_);
    if (used_) return Said::used;
    if (wrong_ >= most_wrong) return Said::refused;
    if (now < next_) return Said::too_soon;
    if (same(plain(code), code_)) {
        used_ = true;
        return Said::right;
    }
    ++wrong_;
    next_ = now + pause;
    return wrong_ < most_wrong ? Said::wrong : Said::refused;
}

std::string Share::cookie() const { return std::string(cookie_name) + "=" + token_ + "; HttpOnly; SameSite=Strict; Path=/"; }

bool Share::knows(const std::vector<std::string>& cookie_headers) const {
    const std::string start = std::string(cookie_name) + "=";
    for (std::string_view header : cookie_headers)
        while (!header.empty()) {
            const std::size_t end = std::min(header.find(';'), header.size());
            std::string_view pair = header.substr(0, end);
            while (!pair.empty() && pair.front() == ' ') pair.remove_prefix(1);
            if (pair.starts_with(start) && same(pair.substr(start.size()), token_)) return true;
            header.remove_prefix(std::min(end + 1, header.size()));
        }
    return false;
}

Result<std::vector<std::string>> network_addresses() {
    std::vector<std::string> out;
    ifaddrs* first = nullptr;
    if (getifaddrs(&first) == 0) {
        for (const ifaddrs* at = first; at != nullptr; at = at->ifa_next) {
            if (at->ifa_addr == nullptr || at->ifa_addr->sa_family != AF_INET || (at->ifa_flags & IFF_UP) == 0 || (at->ifa_flags & IFF_LOOPBACK) != 0) continue;
            std::array<char, INET_ADDRSTRLEN> text{};
            sockaddr_in address{};
            std::memcpy(&address, at->ifa_addr, sizeof address);
            if (inet_ntop(AF_INET, &address.sin_addr, text.data(), text.size()) != nullptr) out.emplace_back(text.data());
        }
        freeifaddrs(first);
    }
    if (out.empty())
        return Error{Reason::not_found, "this machine is on no network", "--share", "join the shop's network, or leave --share away and use this machine's browser"};
    return out;
}

Result<std::string> qr_for_terminal(const std::string& text) {
    const Result<const Media*> part = media();
    if (!part) return part.error();
    const cv::Mat modules = (*part)->qr_code(text);
    if (modules.empty()) return Error{Reason::bad_value, "the address does not fit into a QR code", "--share", "type the address by hand"};
    // Two rows to a line, light as half blocks in white on black, whatever colours the terminal has: a code that is light on dark is read by few.
    constexpr int quiet = 4;  // modules of light round it, ISO/IEC 18004
    cv::Mat dark;
    cv::findNonZero(255 - modules, dark);
    cv::Mat framed = modules(cv::boundingRect(dark));
    cv::copyMakeBorder(framed.clone(), framed, quiet, quiet, quiet, quiet, cv::BORDER_CONSTANT, 255);
    const auto light = [&](int row, int column) { return row >= framed.rows || framed.at<std::uint8_t>(row, column) > 127; };
    std::string out;
    for (int row = 0; row < framed.rows; row += 2) {
        out += "\x1b[97;40m";
        for (int column = 0; column < framed.cols; ++column) {
            const bool upper = light(row, column), lower = light(row + 1, column);
            out += upper && lower ? "\u2588" : upper ? "\u2580" : lower ? "\u2584" : " ";
        }
        out += "\x1b[0m\n";
    }
    return out;
}

}  // namespace bindhue::capture::bench

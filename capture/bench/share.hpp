// Who besides this machine may open the bench page: the one client that was shown the code.
//
// The code is made anew each time that the page is shared, works once, and gives the client that says it a cookie. A wrong code is answered at once,
// and the next guess is not looked at for a while; after a few the code is void.
#pragma once

#include <chrono>
#include <mutex>
#include <string>
#include <string_view>
#include <vector>

#include "colour/result.hpp"

namespace bindhue::capture::bench {

// Of `digits` by the system's generator: nobody can guess them.
std::string unguessable(std::string_view digits, std::size_t count);

class Share {
  public:
    using Clock = std::chrono::steady_clock;
    enum class Said { right, wrong, too_soon, used, refused };

    static constexpr std::chrono::seconds pause{2};  // after a wrong code
    static constexpr int most_wrong = 10;            // with 32^8 codes, a chance of 1 in 10^11

    Share();

    const std::string& code() const { return code_; }  // 8 letters and digits, none of which is easily taken for another
    // Capitals or not; what is no letter and no digit is passed over. From any thread.
    Said say(std::string_view code, Clock::time_point now);
    // Set-Cookie's value for the client that said the code, and whether a Cookie header has it.
    std::string cookie() const;
    bool knows(const std::vector<std::string>& cookie_headers) const;

  private:
    const std::string code_, token_;
    std::mutex mutex_;
    bool used_ = false;
    int wrong_ = 0;
    Clock::time_point next_{};
};

// This machine's addresses on its networks, IPv4, loopback left out. Error: not_found if it has none.
Result<std::vector<std::string>> network_addresses();

// The text as a QR code (ISO/IEC 18004) for a terminal, dark modules dark on any background. Error: bad_value if it is too long.
Result<std::string> qr_for_terminal(const std::string& text);

}  // namespace bindhue::capture::bench

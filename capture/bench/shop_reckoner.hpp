// What is reckoned for the page from all of a shop's files, apart from the threads that answer requests: an audit of the rack, what coat tests teach. It
// takes a second, of a large shop many.
#pragma once

#include <array>
#include <condition_variable>
#include <filesystem>
#include <mutex>
#include <optional>
#include <string>
#include <thread>

#include "bench/answers.hpp"
#include "colour/result.hpp"

namespace bindhue::capture::bench {

class ShopReckoner {
  public:
    explicit ShopReckoner(std::filesystem::path shop);
    ~ShopReckoner();  // waits for the audit that is under way
    ShopReckoner(const ShopReckoner&) = delete;
    ShopReckoner& operator=(const ShopReckoner&) = delete;

    // surfaces, jobs: the rack against all that surfaces take, or against the looks that the shop's jobs were read with (rack_answer); coats: the coat tests
    // (coat_answer). That once it is done, until a file of the shop changes, and before that {state: "working"}. Asking begins it. Errors: those of
    // audit_rack() and load_coat_tests(), told once.
    enum class Asked { surfaces, jobs, coats };
    Result<Answer> answer(Asked asked);

  private:
    struct Question {
        bool wanted = false, working = false;
        std::string of;  // what the shop's files were when `done` was found
        std::optional<Result<Answer>> done;
    };
    Result<Answer> find(Asked asked) const;
    void work();

    const std::filesystem::path shop_;
    std::mutex mutex_;
    std::condition_variable wake_;
    std::array<Question, 3> questions_;  // by what is asked
    bool closing_ = false;
    std::thread worker_;  // last: it uses the others
};

}  // namespace bindhue::capture::bench

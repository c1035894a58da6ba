// Audits the rack for the page, apart from the threads that answer requests: it takes a second, of a large rack many.
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

class RackAuditor {
  public:
    explicit RackAuditor(std::filesystem::path shop);
    ~RackAuditor();  // waits for the audit that is under way
    RackAuditor(const RackAuditor&) = delete;
    RackAuditor& operator=(const RackAuditor&) = delete;

    // Against the looks that the shop's jobs were read with, or against all that surfaces take: rack_answer() once it is done, until a file of the
    // shop changes, and before that {state: "working"}. Asking begins it. Errors: those of audit_rack(), told once.
    Result<Answer> answer(bool jobs);

  private:
    struct Question {
        bool wanted = false, working = false;
        std::string of;  // what the shop's files were when `done` was found
        std::optional<Result<Answer>> done;
    };
    Result<Answer> find(bool jobs) const;
    void work();

    const std::filesystem::path shop_;
    std::mutex mutex_;
    std::condition_variable wake_;
    std::array<Question, 2> questions_;  // by `jobs`
    bool closing_ = false;
    std::thread worker_;  // last: it uses the others
};

}  // namespace bindhue::capture::bench

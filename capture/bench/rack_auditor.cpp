#include "bench/rack_auditor.hpp"

#include <exception>
#include <system_error>
#include <utility>

#include "bench/rack_answer.hpp"
#include "shop/rack_audit.hpp"

namespace bindhue::capture::bench {
namespace {

namespace fs = std::filesystem;

// Which versions of its files a shop has: when each was last written, and how large it is.
std::string versions_of(const fs::path& shop) {
    std::string out;
    const auto add = [&](const fs::path& path) {
        std::error_code code;
        const auto written = fs::last_write_time(path, code).time_since_epoch().count();
        if (code) return;
        out.append(path.string()).append(" ").append(std::to_string(written)).append(" ").append(std::to_string(fs::file_size(path, code))).append("\n");
    };
    add(shop / "spools.json");
    add(shop / "coat-tests.json");
    std::error_code code;
    for (fs::directory_iterator at(shop / "jobs", code); !code && at != fs::directory_iterator(); at.increment(code)) {
        add(at->path() / "job.json");
        add(at->path() / "reading.json");
    }
    return out;
}

}  // namespace

RackAuditor::RackAuditor(fs::path shop) : shop_(std::move(shop)), worker_([this] { work(); }) {}

RackAuditor::~RackAuditor() {
    {
        const std::lock_guard lock(mutex_);
        closing_ = true;
    }
    wake_.notify_all();
    worker_.join();
}

Result<Answer> RackAuditor::answer(bool jobs) {
    const std::string now = versions_of(shop_);
    const std::lock_guard lock(mutex_);
    Question& question = questions_[jobs];
    if (question.done && question.of == now) {
        Result<Answer> out = *question.done;
        if (!out) question.done.reset();  // asked again it is tried again
        return out;
    }
    if (!question.wanted && !question.working) {
        question.wanted = true;
        wake_.notify_all();
    }
    Answer out = opening("bindhue-bench-rack");
    out["state"] = "working";
    return out;
}

Result<Answer> RackAuditor::find(bool jobs) const {
    try {
        const Result<Shop> shop = Shop::open(shop_, Access::read);
        if (!shop) return shop.error();
        AuditWish wish;
        wish.jobs = jobs;
        const Result<RackAudit> found = audit_rack(*shop, wish);
        if (!found) return found.error();
        return rack_answer(*found, wish);
    } catch (const std::exception&) {  // no memory: it ends this audit, not the page
        return Error{Reason::storage, "The audit could not be brought to its end.", "", "Close other programs, and try again."};
    }
}

void RackAuditor::work() {
    std::unique_lock lock(mutex_);
    while (true) {
        wake_.wait(lock, [&] { return closing_ || questions_[false].wanted || questions_[true].wanted; });
        if (closing_) return;
        const bool jobs = !questions_[false].wanted;
        Question& question = questions_[jobs];
        question.wanted = false;
        question.working = true;
        lock.unlock();
        std::string of = versions_of(shop_);  // before reading: what changes meanwhile is found out of date
        Result<Answer> found = find(jobs);
        lock.lock();
        question.working = false;
        question.of = std::move(of);
        question.done = std::move(found);
    }
}

}  // namespace bindhue::capture::bench

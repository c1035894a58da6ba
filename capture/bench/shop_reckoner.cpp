#include "bench/shop_reckoner.hpp"

#include <algorithm>
#include <exception>
#include <system_error>
#include <utility>

#include "bench/coat_answer.hpp"
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

ShopReckoner::ShopReckoner(fs::path shop) : shop_(std::move(shop)), worker_([this] { work(); }) {}

ShopReckoner::~ShopReckoner() {
    {
        const std::lock_guard lock(mutex_);
        closing_ = true;
    }
    wake_.notify_all();
    worker_.join();
}

Result<Answer> ShopReckoner::answer(Asked asked) {
    const std::string now = versions_of(shop_);
    const std::lock_guard lock(mutex_);
    Question& question = questions_[static_cast<std::size_t>(asked)];
    if (question.done && question.of == now) {
        Result<Answer> out = *question.done;
        if (!out) question.done.reset();  // asked again it is tried again
        return out;
    }
    if (!question.wanted && !question.working) {
        question.wanted = true;
        wake_.notify_all();
    }
    Answer out = opening(asked == Asked::coats ? "bindhue-bench-coats" : "bindhue-bench-rack");
    out["state"] = "working";
    return out;
}

Result<Answer> ShopReckoner::find(Asked asked) const {
    try {
        if (asked == Asked::coats) return coat_answer(shop_);
        const Result<Shop> shop = Shop::open(shop_, Access::read);
        if (!shop) return shop.error();
        AuditWish wish;
        wish.jobs = asked == Asked::jobs;
        const Result<RackAudit> found = audit_rack(*shop, wish);
        if (!found) return found.error();
        return rack_answer(*found, wish);
    } catch (const std::exception&) {  // no memory: it ends this, not the page
        return Error{Reason::storage, "This could not be reckoned to its end.", "", "Close other programs, and try again."};
    }
}

void ShopReckoner::work() {
    std::unique_lock lock(mutex_);
    while (true) {
        const auto next = [&] { return std::find_if(questions_.begin(), questions_.end(), [](const Question& q) { return q.wanted; }); };
        wake_.wait(lock, [&] { return closing_ || next() != questions_.end(); });
        if (closing_) return;
        Question& question = *next();
        const auto asked = static_cast<Asked>(&question - questions_.data());
        question.wanted = false;
        question.working = true;
        lock.unlock();
        std::string of = versions_of(shop_);  // before reading: what changes meanwhile is found out of date
        Result<Answer> found = find(asked);
        lock.lock();
        question.working = false;
        question.of = std::move(of);
        question.done = std::move(found);
    }
}

}  // namespace bindhue::capture::bench

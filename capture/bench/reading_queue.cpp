#include "bench/reading_queue.hpp"

#include <algorithm>
#include <array>
#include <exception>
#include <random>
#include <utility>

#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

namespace bindhue::capture::bench {
namespace {

constexpr int widest_px = 1600;

std::string unguessable() {
    constexpr std::string_view digits = "0123456789abcdef";
    std::random_device source;  // the system's generator, by libstdc++
    std::string out;
    for (int i = 0; i < 32; ++i) out += digits[source() % 16U];
    return out;
}

DoneReading finish(WrapReading reading) {
    DoneReading out;
    out.width_px = reading.picture.cols;
    out.height_px = reading.picture.rows;
    cv::Mat shown;
    const double scale = std::min(1.0, static_cast<double>(widest_px) / std::max(out.width_px, out.height_px));
    cv::resize(reading.picture, shown, {}, scale, scale, cv::INTER_AREA);
    std::vector<std::uint8_t> jpeg;
    cv::imencode(".jpg", shown, jpeg, {cv::IMWRITE_JPEG_QUALITY, 85});
    out.jpeg.assign(jpeg.begin(), jpeg.end());
    reading.picture.release();
    out.reading = std::move(reading);
    return out;
}

Result<DoneReading> read(const std::vector<std::uint8_t>& photo, const ReadOptions& how) {
    const Error failed{Reason::cannot_measure, "the photo could not be read to its end", "the photo",
                       "make it smaller, or save it anew as JPEG, and try again"};
    try {
        Result<WrapReading> reading = read_photo(photo, "the photo", how);
        if (!reading) return reading.error();
        return finish(std::move(*reading));
    } catch (const std::exception&) {  // no memory, or a library's own: it ends this photo, not the page
        return failed;
    }
}

}  // namespace

ReadingQueue::ReadingQueue(ReadOptions how, QueueLimits limits)
    : how_(std::move(how)), limits_(limits), worker_([this] { work(); }) {}

ReadingQueue::~ReadingQueue() {
    {
        const std::lock_guard lock(mutex_);
        closing_ = true;
    }
    wake_.notify_all();
    worker_.join();
}

ReadingQueue::Room::Room(Room&& other) noexcept
    : queue_(std::exchange(other.queue_, nullptr)), bytes_(other.bytes_) {}

ReadingQueue::Room::~Room() {
    if (queue_ == nullptr) return;
    const std::lock_guard lock(queue_->mutex_);
    queue_->give_back(bytes_);
}

void ReadingQueue::give_back(std::size_t bytes) {
    --waiting_;
    waiting_bytes_ -= bytes;
}

std::optional<ReadingQueue::Room> ReadingQueue::room_for(std::size_t bytes) {
    const std::lock_guard lock(mutex_);
    if (waiting_ >= limits_.waiting || bytes > limits_.waiting_bytes - waiting_bytes_) return std::nullopt;
    ++waiting_;
    waiting_bytes_ += bytes;
    return Room(*this, bytes);
}

std::string ReadingQueue::add(Room room, std::vector<std::uint8_t> photo) {
    auto job = std::make_shared<Job>();
    job->id = unguessable();
    job->photo = std::move(photo);
    job->bytes = room.bytes_;
    {
        const std::lock_guard lock(mutex_);
        jobs_.push_back(job);
        room.queue_ = nullptr;
        while (jobs_.size() > limits_.kept && jobs_.front()->ended()) jobs_.pop_front();
    }
    wake_.notify_all();
    return job->id;
}

std::optional<PhotoState> ReadingQueue::state(const std::string& id) const {
    const std::lock_guard lock(mutex_);
    PhotoState out;
    for (const auto& job : jobs_) {
        if (job->id == id) {
            out.step = job->step;
            out.done = job->done;
            out.error = job->error;
            return out;
        }
        if (!job->ended()) ++out.ahead;
    }
    return std::nullopt;
}

void ReadingQueue::work() {
    while (true) {
        std::shared_ptr<Job> job;
        {
            std::unique_lock lock(mutex_);
            const auto next = [&] {
                return std::find_if(jobs_.begin(), jobs_.end(), [](const auto& j) { return !j->ended(); });
            };
            wake_.wait(lock, [&] { return closing_ || next() != jobs_.end(); });
            if (closing_) return;
            job = *next();
        }
        ReadOptions how = how_;
        how.on_step = [&](ReadStep step) {
            const std::lock_guard lock(mutex_);
            job->step = step;
        };
        Result<DoneReading> result = read(job->photo, how);
        const std::lock_guard lock(mutex_);
        job->photo = {};
        job->step.reset();
        give_back(job->bytes);
        if (result) {
            job->done = std::make_shared<const DoneReading>(std::move(*result));
        } else {
            job->error = result.error();
        }
    }
}

}  // namespace bindhue::capture::bench

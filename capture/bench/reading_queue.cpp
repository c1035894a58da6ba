#include "bench/reading_queue.hpp"

#include <algorithm>
#include <array>
#include <exception>
#include <set>
#include <utility>

#include <opencv2/imgproc.hpp>

#include "bench/share.hpp"
#include "media/media.hpp"
#include "reading/several.hpp"

namespace bindhue::capture::bench {
namespace {

constexpr int widest_px = 1600;

DoneReading finish(WrapReading reading, const Media& media) {
    DoneReading out;
    out.width_px = reading.picture.cols;
    out.height_px = reading.picture.rows;
    cv::Mat shown;
    const double scale = std::min(1.0, static_cast<double>(widest_px) / std::max(out.width_px, out.height_px));
    cv::resize(reading.picture, shown, {}, scale, scale, cv::INTER_AREA);
    const std::vector<std::uint8_t> jpeg = media.encode(".jpg", shown);
    out.jpeg.assign(jpeg.begin(), jpeg.end());
    reading.picture.release();
    out.reading = std::move(reading);
    return out;
}

// Bytes of all that is kept, each photo once.
std::size_t size_of(const SentPhotos& photos, std::set<const SentPhoto*>& counted) {
    std::size_t out = 0;
    for (const auto& photo : photos)
        if (counted.insert(photo.get()).second) out += photo->bytes.size();
    return out;
}

// All that was read of one band's colour in the place of another's.
void take_colour(BandReading& band, const BandReading& from) {
    band.colour = from.colour;
    band.covariance_of = from.covariance_of;
    band.strands = from.strands;
    band.looks = from.looks;
    band.photos = 1;
    band.warnings = from.warnings;
}

// The bands as they were, one of them in the region's colour.
WrapReading with_colour_of(WrapReading bands, std::size_t number, WrapReading region) {
    take_colour(bands.bands[number - 1], region.bands.front());
    bands.picture = std::move(region.picture);
    return bands;
}

std::size_t size_of(const std::vector<ColourFromElsewhere>& colours, std::set<const SentPhoto*>& counted) {
    SentPhotos photos;
    for (const ColourFromElsewhere& colour : colours) photos.push_back(colour.photo);
    return size_of(photos, counted);
}

bool holds(const BandReading& band, double at_mm) { return at_mm > band.start_mm && at_mm < band.start_mm + band.length_mm; }

// The bands at the places of these colours take them; colours without a band any more are dropped.
void take_colours(DoneReading& reading, const std::vector<ColourFromElsewhere>& colours) {
    for (const ColourFromElsewhere& colour : colours) {
        auto& bands = reading.reading.bands;
        const auto band = std::find_if(bands.begin(), bands.end(), [&](const BandReading& b) { return holds(b, colour.at_mm); });
        if (band == bands.end()) continue;
        take_colour(*band, colour.read);
        band->warnings.insert(band->warnings.begin(), "its colour is that of the longest wrap in " + (colour.photo->name.empty() ? "another photo" : colour.photo->name) +
                                                          ", said to be the same thread where the sun did not reach");
        reading.elsewhere.push_back(colour);
    }
}

// Another photo's longest wrap in the place of one band's colour.
Result<DoneReading> with_colour_from(const DoneReading& before, const Correction& how, const WrapReading& other) {
    const BandReading* longest = nullptr;
    for (const BandReading& band : other.bands)
        if (band.role == BandRole::wrap && (longest == nullptr || band.length_mm > longest->length_mm)) longest = &band;
    if (longest == nullptr)
        return Error{Reason::cannot_measure, "only bare blank is seen in the opening", "the photo", "lay the thread that the sun did not reach in the card's opening"};
    DoneReading out = before;
    const BandReading& band = out.reading.bands[how.band - 1];
    std::erase_if(out.elsewhere, [&](const ColourFromElsewhere& colour) { return holds(band, colour.at_mm); });
    take_colours(out, {{how.elsewhere, *longest, band.start_mm + band.length_mm / 2}});
    return out;
}

}  // namespace

ReadingQueue::ReadingQueue(ReadOptions how, QueueLimits limits)
    : how_(std::move(how)), limits_(limits), worker_([this] { work(); }) {}

Result<DoneReading> ReadingQueue::read(const Job& job, const ReadOptions& how) {
    const Error failed{Reason::cannot_measure, "the photo could not be read to its end", "the photo",
                       "make it smaller, or save it anew as JPEG, and try again"};
    try {
        if (job.correction.elsewhere) {
            const SentPhoto& photo = *job.correction.elsewhere;
            ReadOptions own = how;
            own.camera = photo.camera;
            const Result<WrapReading> reading = read_photos(std::vector<PhotoToRead>{{"the photo", photo.light, photo.bytes}}, own);
            if (!reading) return reading.error();
            return with_colour_from(*job.before, job.correction, *reading);
        }
        std::vector<PhotoToRead> photos;
        for (const auto& photo : job.photos)
            photos.push_back({job.photos.size() == 1 ? "the photo" : "photo " + std::to_string(photos.size() + 1), photo->light, photo->bytes});
        if (job.correction.region) photos.resize(1);  // it is a place in that one
        ReadOptions own = how;
        own.camera = job.photos.front()->camera;
        own.edges_mm = job.correction.edges_mm;
        own.region = job.correction.region;
        Result<WrapReading> reading = read_photos(photos, own);
        if (!reading) {
            Error error = reading.error();
            if (error.where == "--region" || error.where == "--edges") error.where = "the correction";
            return error;
        }
        if (job.before) reading = with_colour_of(job.before->reading, job.correction.band, std::move(*reading));
        const Result<const Media*> part = media();
        if (!part) return part.error();
        DoneReading out = finish(std::move(*reading), **part);
        take_colours(out, job.colours);
        out.photos = job.photos;
        return out;
    } catch (const std::exception&) {  // no memory, or a library's own: it ends this photo, not the page
        return failed;
    }
}

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

std::shared_ptr<ReadingQueue::Job> ReadingQueue::find(const std::string& id) const {
    const auto found = std::find_if(jobs_.begin(), jobs_.end(), [&](const auto& job) { return job->id == id; });
    return found == jobs_.end() ? nullptr : *found;
}

std::string ReadingQueue::put(std::shared_ptr<Job> job, Room& room) {
    job->id = unguessable("0123456789abcdef", 32);
    job->bytes = room.bytes_;
    room.queue_ = nullptr;
    const std::string id = job->id;
    jobs_.push_back(std::move(job));
    const auto kept_bytes = [&] {
        std::set<const SentPhoto*> counted;
        std::size_t out = 0;
        for (const auto& kept : jobs_) out += size_of(kept->photos, counted) + (kept->done ? size_of(kept->done->elsewhere, counted) : 0);
        return out;
    };
    while (jobs_.front()->ended() && (jobs_.size() > limits_.kept || kept_bytes() > limits_.kept_bytes)) jobs_.pop_front();
    return id;
}

std::string ReadingQueue::add(Room room, SentPhoto photo) {
    auto job = std::make_shared<Job>();
    job->photos = {std::make_shared<const SentPhoto>(std::move(photo))};
    const std::lock_guard lock(mutex_);
    std::string id = put(std::move(job), room);
    wake_.notify_all();
    return id;
}

std::optional<std::string> ReadingQueue::add_to(const std::string& id, Room room, SentPhoto photo) {
    auto job = std::make_shared<Job>();
    const auto sent = std::make_shared<const SentPhoto>(std::move(photo));
    const std::lock_guard lock(mutex_);
    const std::shared_ptr<Job> other = find(id);
    if (!other) return std::nullopt;
    job->photos = other->photos;
    job->photos.push_back(sent);
    job->correction.edges_mm = other->correction.edges_mm;
    if (other->done) job->colours = other->done->elsewhere;
    std::string out = put(std::move(job), room);
    wake_.notify_all();
    return out;
}

std::optional<std::string> ReadingQueue::add_elsewhere(const std::string& id, std::size_t band, Room room, SentPhoto photo) {
    auto job = std::make_shared<Job>();
    job->correction.elsewhere = std::make_shared<const SentPhoto>(std::move(photo));
    job->correction.band = band;
    const std::lock_guard lock(mutex_);
    const std::shared_ptr<Job> other = find(id);
    if (!other || !other->done || band < 1 || band > other->done->reading.bands.size()) return std::nullopt;
    job->photos = other->photos;
    job->before = other->done;
    std::string out = put(std::move(job), room);
    wake_.notify_all();
    return out;
}

std::optional<std::string> ReadingQueue::again(const std::string& id, Room room, Correction correction) {
    auto job = std::make_shared<Job>();
    const std::lock_guard lock(mutex_);
    const std::shared_ptr<Job> other = find(id);
    const bool no_band = other && correction.band > 0 && (!other->done || correction.band > other->done->reading.bands.size());
    if (!other || no_band) return std::nullopt;
    job->photos = other->photos;
    job->correction = std::move(correction);
    if (other->done) job->colours = other->done->elsewhere;
    if (const std::size_t band = job->correction.band; band > 0) {
        job->before = other->done;
        std::erase_if(job->colours, [&](const ColourFromElsewhere& colour) { return holds(other->done->reading.bands[band - 1], colour.at_mm); });
    }
    std::string out = put(std::move(job), room);
    wake_.notify_all();
    return out;
}

std::optional<PhotoState> ReadingQueue::state(const std::string& id) const {
    const std::lock_guard lock(mutex_);
    PhotoState out;
    for (const auto& job : jobs_) {
        if (job->id == id) {
            out.step = job->step;
            out.done = job->done;
            out.error = job->error;
            out.failed_at = job->failed_at;
            return out;
        }
        if (!job->ended()) ++out.ahead;
    }
    return std::nullopt;
}

void ReadingQueue::work() {
    (void)media();  // now, so that the first photo need not wait for it
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
        Result<DoneReading> result = read(*job, how);
        const std::lock_guard lock(mutex_);
        job->before.reset();
        const std::optional<ReadStep> last = std::exchange(job->step, std::nullopt);
        give_back(job->bytes);
        if (result) {
            job->done = std::make_shared<const DoneReading>(std::move(*result));
        } else {
            job->error = result.error();
            job->failed_at = last;
        }
    }
}

}  // namespace bindhue::capture::bench

// Photos are read one after another, apart from the threads that answer requests.
//
// One at a time because one photo may take several hundred megabytes and all cores; whoever waits is told how many
// are before him. What was read stays in memory only, and the oldest goes when there is no more room.
#pragma once

#include <condition_variable>
#include <cstdint>
#include <deque>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <thread>
#include <vector>

#include "colour/result.hpp"
#include "reading/reading.hpp"

namespace bindhue::capture::bench {

struct QueueLimits {
    std::size_t waiting = 16;                           // photos, those still on their way included
    std::size_t waiting_bytes = std::size_t{256} << 20;  // of all of them
    std::size_t kept = 32;                              // readings
    std::size_t kept_bytes = std::size_t{512} << 20;    // of their photos
};

// A photo as it came.
struct SentPhoto {
    std::vector<std::uint8_t> bytes;
    std::string light;  // what the user calls the light; empty: not said
    std::string name{};  // of its file; empty: not known
    std::string camera{};  // what the user calls the camera, where the file does not say
};
using SentPhotos = std::vector<std::shared_ptr<const SentPhoto>>;  // of one wrap

// What a person sees better than the reading did: one of the three.
struct Correction {
    std::optional<std::vector<double>> edges_mm;  // as ReadOptions has them
    std::optional<PixelRegion> region;            // of the first photo
    std::size_t band = 0;  // whose colour the region's is to be, counted from 1; 0: the region is read alone
    std::shared_ptr<const SentPhoto> elsewhere{};  // or else: of the same thread where the sun did not reach, whose colour the band's is to be
};

// A band's colour that another photo gave, for as long as there is a band at its place.
struct ColourFromElsewhere {
    std::shared_ptr<const SentPhoto> photo;
    BandReading read;  // of that photo
    double at_mm = 0;  // a place in the band whose colour it is to be
};

// A reading and the picture to draw it on.
struct DoneReading {
    WrapReading reading;  // without its picture
    SentPhotos photos;
    std::vector<ColourFromElsewhere> elsewhere;
    int width_px = 0, height_px = 0;  // of the upright photo, which outlines refer to
    std::string jpeg;     // the first photo, at most 1600 pixels wide
};

struct PhotoState {
    std::size_t ahead = 0;         // photos to be read before this one
    std::optional<ReadStep> step;  // while it is read
    std::shared_ptr<const DoneReading> done;
    std::optional<Error> error;
    std::optional<ReadStep> failed_at;  // where the error came; none if no step had begun
};

class ReadingQueue {
  public:
    // Every photo is read by these options; `on_step` is the queue's own.
    explicit ReadingQueue(ReadOptions how, QueueLimits limits = {});
    ~ReadingQueue();  // waits for the photo that is being read
    ReadingQueue(const ReadingQueue&) = delete;
    ReadingQueue& operator=(const ReadingQueue&) = delete;

    // Room in the queue, held while a photo is on its way and given back if it never comes.
    class Room {
      public:
        Room(Room&& other) noexcept;
        Room& operator=(Room&&) = delete;
        ~Room();

      private:
        friend class ReadingQueue;
        Room(ReadingQueue& queue, std::size_t bytes) : queue_(&queue), bytes_(bytes) {}
        ReadingQueue* queue_;  // null once it is taken
        std::size_t bytes_;
    };

    // None if there is no room for so many bytes now.
    std::optional<Room> room_for(std::size_t bytes);
    // Answers the name by which to ask for its state: 32 hexadecimal digits that nobody can guess.
    // Precondition: no more bytes than the room was asked for.
    std::string add(Room room, SentPhoto photo);
    // One more photo of the wrap of another reading: both are read together, by the edges that were given for it. None if there is no such reading.
    std::optional<std::string> add_to(const std::string& id, Room room, SentPhoto photo);
    // A photo of the same thread where the sun did not reach (under a guide foot, on the underside of a cut wrap): its longest wrap gives the other
    // reading's band, from 1, its colour. None if there is no such reading or band.
    std::optional<std::string> add_elsewhere(const std::string& id, std::size_t band, Room room, SentPhoto photo);
    // The photos of another reading read again, corrected. None if there is no such reading. Precondition: the room was asked for no bytes.
    std::optional<std::string> again(const std::string& id, Room room, Correction correction);
    // None if there is no such photo, or not any more.
    std::optional<PhotoState> state(const std::string& id) const;

  private:
    struct Job {
        std::string id;
        SentPhotos photos;
        Correction correction;
        std::shared_ptr<const DoneReading> before;  // of which a region corrects one band
        std::vector<ColourFromElsewhere> colours;   // that its bands are to take
        std::size_t bytes = 0;                      // of the waiting ones
        std::optional<ReadStep> step;
        std::shared_ptr<const DoneReading> done;
        std::optional<Error> error;
        std::optional<ReadStep> failed_at;

        bool ended() const { return done || error; }
    };

    static Result<DoneReading> read(const Job& job, const ReadOptions& how);
    std::shared_ptr<Job> find(const std::string& id) const;  // precondition: the mutex is held
    std::string put(std::shared_ptr<Job> job, Room& room);   // likewise
    void give_back(std::size_t bytes);
    void work();

    const ReadOptions how_;
    const QueueLimits limits_;
    mutable std::mutex mutex_;
    std::condition_variable wake_;
    std::deque<std::shared_ptr<Job>> jobs_;  // as they came; ended ones first
    std::size_t waiting_ = 0, waiting_bytes_ = 0;
    bool closing_ = false;
    std::thread worker_;  // last: it uses the others
};

}  // namespace bindhue::capture::bench

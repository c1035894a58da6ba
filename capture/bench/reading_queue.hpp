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
};

// A photo's reading and the picture to draw it on.
struct DoneReading {
    WrapReading reading;  // without its picture
    int width_px = 0, height_px = 0;  // of the upright photo, which outlines refer to
    std::string jpeg;     // the photo, at most 1600 pixels wide
};

struct PhotoState {
    std::size_t ahead = 0;         // photos to be read before this one
    std::optional<ReadStep> step;  // while it is read
    std::shared_ptr<const DoneReading> done;
    std::optional<Error> error;
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
    std::string add(Room room, std::vector<std::uint8_t> photo);
    // None if there is no such photo, or not any more.
    std::optional<PhotoState> state(const std::string& id) const;

  private:
    struct Job {
        std::string id;
        std::vector<std::uint8_t> photo;  // until it is read
        std::size_t bytes = 0;
        std::optional<ReadStep> step;
        std::shared_ptr<const DoneReading> done;
        std::optional<Error> error;

        bool ended() const { return done || error; }
    };

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

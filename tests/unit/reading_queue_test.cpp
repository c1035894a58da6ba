#include "bench/reading_queue.hpp"

#include <catch2/catch.hpp>
#include <chrono>
#include <fstream>
#include <iterator>
#include <set>
#include <thread>

#include <opencv2/imgcodecs.hpp>

#include "support/sample.hpp"

using namespace bindhue;
using namespace bindhue::capture;
using namespace bindhue::capture::bench;

namespace {

std::vector<std::uint8_t> bytes_of(const char* photo) {
    std::ifstream in(samples / "photos" / photo, std::ios::binary);
    return {std::istreambuf_iterator<char>(in), {}};
}

ReadOptions on_sample_card() {
    ReadOptions out;
    out.layout = sample_layout();
    return out;
}

std::string add(ReadingQueue& queue, std::vector<std::uint8_t> photo) {
    auto room = queue.room_for(photo.size());
    REQUIRE(room);
    return queue.add(std::move(*room), std::move(photo));
}

PhotoState ended(const ReadingQueue& queue, const std::string& id) {
    while (true) {
        const auto state = queue.state(id);
        REQUIRE(state);
        if (state->done || state->error) return *state;
        std::this_thread::sleep_for(std::chrono::milliseconds(20));
    }
}

}  // namespace

TEST_CASE("A queued photo is read as the file is, and its picture kept to draw on") {
    ReadingQueue queue(on_sample_card());
    const std::string id = add(queue, bytes_of("door.jpg"));
    CHECK(id.size() == 32);
    const PhotoState state = ended(queue, id);
    REQUIRE(state.done);
    const auto from_file = read_photo(samples / "photos/door.jpg", on_sample_card());
    REQUIRE(from_file);
    REQUIRE(state.done->reading.bands.size() == from_file->bands.size());
    for (std::size_t i = 0; i < from_file->bands.size(); ++i)
        CHECK(state.done->reading.bands[i].colour.lab.vector() == from_file->bands[i].colour.lab.vector());
    CHECK(state.done->reading.picture.empty());
    CHECK(state.done->width_px == from_file->picture.cols);
    const cv::Mat shown = cv::imdecode(std::vector<std::uint8_t>(state.done->jpeg.begin(), state.done->jpeg.end()), cv::IMREAD_COLOR);
    CHECK(shown.cols == 1600);
}

TEST_CASE("A bad photo ends itself and not the queue") {
    ReadingQueue queue(on_sample_card());
    const std::string bad = add(queue, {1, 2, 3}), cut = [&] {
        auto bytes = bytes_of("door.jpg");
        bytes.resize(bytes.size() / 3);
        return add(queue, std::move(bytes));
    }();
    const std::string good = add(queue, bytes_of("door.jpg"));
    CHECK(bad != cut);
    for (const std::string& id : {bad, cut}) {
        const PhotoState state = ended(queue, id);
        REQUIRE(state.error);
        CHECK_FALSE(state.error->mend.empty());
        CHECK(state.error->where.find('/') == std::string::npos);
    }
    CHECK(ended(queue, good).done);
}

TEST_CASE("The queue holds so many photos and bytes, those on their way included") {
    ReadingQueue queue(on_sample_card(), {.waiting = 2, .waiting_bytes = 1000, .kept = 3});
    {
        auto one = queue.room_for(600);
        REQUIRE(one);
        CHECK_FALSE(queue.room_for(401));
        auto two = queue.room_for(400);
        REQUIRE(two);
        CHECK_FALSE(queue.room_for(0));
    }
    CHECK(queue.room_for(1000));  // given back by those that never came
    CHECK_FALSE(queue.room_for(1001));
    std::set<std::string> ids;
    std::string first, last;
    for (int i = 0; i < 6; ++i) {
        last = add(queue, std::vector<std::uint8_t>(500, 7));
        if (i == 0) first = last;
        ids.insert(last);
        ended(queue, last);
    }
    CHECK(ids.size() == 6);
    CHECK_FALSE(queue.state(first));  // the oldest goes
    CHECK(queue.state(last));
    CHECK_FALSE(queue.state("../../etc/passwd"));
}

TEST_CASE("A queue that ends leaves waiting photos unread") {
    ReadingQueue queue(on_sample_card());
    for (int i = 0; i < 5; ++i) add(queue, bytes_of("door.jpg"));
}

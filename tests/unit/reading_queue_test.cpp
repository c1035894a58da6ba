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
    return queue.add(std::move(*room), {std::move(photo), ""});
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

TEST_CASE("A reading is corrected by edges or by a region, from the photo that is kept") {
    ReadingQueue queue(on_sample_card());
    const std::string id = add(queue, bytes_of("door.jpg"));
    const PhotoState found = ended(queue, id);
    REQUIRE(found.done);
    const auto& bands = found.done->reading.bands;
    REQUIRE(bands.size() == 7);
    const auto again = [&](const std::string& of, Correction correction) {
        auto room = queue.room_for(0);
        REQUIRE(room);
        return queue.again(of, std::move(*room), std::move(correction));
    };
    std::vector<double> edges;
    for (std::size_t i = 1; i < bands.size(); ++i)
        if (i != 2) edges.push_back(bands[i].start_mm);  // bands 2 and 3 are one
    const auto by_edges = again(id, {.edges_mm = edges, .region = {}, .band = 0});
    REQUIRE(by_edges);
    const PhotoState joined = ended(queue, *by_edges);
    REQUIRE(joined.done);
    REQUIRE(joined.done->reading.bands.size() == 6);
    CHECK(joined.done->reading.bands[1].length_mm == Approx(bands[1].length_mm + bands[2].length_mm));
    CHECK(queue.state(id)->done);  // the one before stays

    // A region on band 6 as the colour of band 6: the others stay as they were.
    const auto& outline = bands[5].outline;
    const double x = (outline[0].x_px + outline[1].x_px) / 2, y = (outline[0].y_px + outline[3].y_px) / 2;
    const auto by_region = again(id, {.edges_mm = {}, .region = PixelRegion{x - 60, y - 4, 120, 8}, .band = 6});
    REQUIRE(by_region);
    const PhotoState one = ended(queue, *by_region);
    REQUIRE(one.done);
    REQUIRE(one.done->reading.bands.size() == 7);
    CHECK(one.done->reading.bands[2].colour.lab.vector() == bands[2].colour.lab.vector());
    CHECK(one.done->reading.bands[5].colour.lab.vector() != bands[5].colour.lab.vector());
    CHECK(one.done->reading.bands[5].length_mm == bands[5].length_mm);
    CHECK(one.done->reading.bands[5].warnings.back().find("by hand") != std::string::npos);
    CHECK_FALSE(one.done->jpeg.empty());
    const auto alone = again(id, {.edges_mm = {}, .region = PixelRegion{x - 60, y - 4, 120, 8}, .band = 0});
    CHECK(ended(queue, *alone).done->reading.bands.size() == 1);

    CHECK_FALSE(again(id, {.edges_mm = {}, .region = PixelRegion{x, y, 9, 9}, .band = 8}));
    CHECK_FALSE(again("nobody", {.edges_mm = edges, .region = {}, .band = 0}));
    const PhotoState bad = ended(queue, *again(id, {.edges_mm = std::vector<double>{50, 40}, .region = {}, .band = 0}));
    REQUIRE(bad.error);
    CHECK(bad.failed_at == ReadStep::reading_rod);
}

TEST_CASE("A second photo of the wrap is read with the first, and goes by the same edges") {
    ReadingQueue queue(on_sample_card());
    const std::string first = add(queue, bytes_of("door.jpg"));
    ended(queue, first);
    const auto more = [&](const std::string& to, const char* photo, const char* light) {
        auto bytes = bytes_of(photo);
        auto room = queue.room_for(bytes.size());
        REQUIRE(room);
        return queue.add_to(to, std::move(*room), {std::move(bytes), light});
    };
    const auto both = more(first, "door.jpg", "tube");
    REQUIRE(both);
    const PhotoState state = ended(queue, *both);
    REQUIRE(state.done);
    CHECK(state.done->photos.size() == 2);
    CHECK(state.done->photos[1]->light == "tube");
    CHECK(state.done->reading.bands[2].photos == 2);
    const PhotoState unlike = ended(queue, *more(first, "cane.jpg", ""));
    REQUIRE(unlike.error);
    CHECK(unlike.error->where == "photo 2");
    CHECK_FALSE(more("nobody", "door.jpg", ""));
}

TEST_CASE("A photo of the same thread elsewhere gives one band its colour and leaves the rest") {
    ReadingQueue queue(on_sample_card());
    const std::string first = add(queue, bytes_of("door.jpg"));
    const PhotoState before = ended(queue, first);
    REQUIRE(before.done);
    const auto elsewhere = [&](std::size_t band, std::vector<std::uint8_t> photo) {
        auto room = queue.room_for(photo.size());
        return queue.add_elsewhere(first, band, std::move(*room), {std::move(photo), "door", "foot.jpg"});
    };
    CHECK_FALSE(elsewhere(0, {1}));
    CHECK_FALSE(elsewhere(8, {1}));
    const auto id = elsewhere(3, bytes_of("cane.jpg"));
    REQUIRE(id);
    const PhotoState after = ended(queue, *id);
    REQUIRE(after.done);
    const auto cane = read_photo(samples / "photos/cane.jpg", on_sample_card());
    REQUIRE(cane);
    const BandReading* longest = nullptr;
    for (const BandReading& band : cane->bands)
        if (band.role == BandRole::wrap && (longest == nullptr || band.length_mm > longest->length_mm)) longest = &band;
    REQUIRE(longest != nullptr);
    for (std::size_t i = 0; i < before.done->reading.bands.size(); ++i) {
        const BandReading &then = before.done->reading.bands[i], &now = after.done->reading.bands[i];
        CHECK(now.colour.lab.vector() == (i == 2 ? longest->colour.lab.vector() : then.colour.lab.vector()));
        CHECK(now.length_mm == then.length_mm);
    }
    CHECK_THAT(after.done->reading.bands[2].warnings.at(0), Catch::Contains("foot.jpg"));
    CHECK(after.done->photos.size() == 1);
    REQUIRE(after.done->elsewhere.size() == 1);
    CHECK(after.done->jpeg == before.done->jpeg);
    // Other edges leave that colour where its band is, and drop it with its band.
    const auto by_edges = [&](std::vector<double> edges) {
        const PhotoState out = ended(queue, *queue.again(*id, *queue.room_for(0), {.edges_mm = std::move(edges), .region = {}, .band = 0}));
        REQUIRE(out.done);
        return out.done;
    };
    const auto& bands = after.done->reading.bands;
    const auto joined = by_edges({bands[2].start_mm, bands[3].start_mm});  // what lies on each side is one
    REQUIRE(joined->reading.bands.size() == 3);
    CHECK(joined->reading.bands[1].colour.lab.vector() == longest->colour.lab.vector());
    CHECK(joined->reading.bands[0].colour.lab.vector() != longest->colour.lab.vector());
    REQUIRE(joined->elsewhere.size() == 1);
    CHECK(joined->elsewhere[0].photo == after.done->elsewhere[0].photo);
    // A region in that band's place by hand is its colour from then on.
    const CardReport& card = after.done->reading.card;
    const PixelPoint corner = card.opening.at(0), across = card.opening.at(2);
    const PixelRegion region{(corner.x_px + across.x_px) / 2, (corner.y_px + across.y_px) / 2, 12, 12};
    const PhotoState by_hand = ended(queue, *queue.again(*id, *queue.room_for(0), {.edges_mm = {}, .region = region, .band = 3}));
    REQUIRE(by_hand.done);
    CHECK(by_hand.done->elsewhere.empty());
    // One that can't be read ends itself, and the reading stays.
    const PhotoState bad = ended(queue, *elsewhere(3, {1, 2, 3}));
    CHECK(bad.error);
    CHECK(queue.state(first)->done);
}

TEST_CASE("Photos are kept with their readings up to so many bytes, one that several readings share once") {
    ReadingQueue queue(on_sample_card(), {.kept_bytes = 1200});
    const auto again = [&](const std::string& of) {
        auto room = queue.room_for(0);
        return *queue.again(of, std::move(*room), {.edges_mm = std::vector<double>{}, .region = {}, .band = 0});
    };
    const std::string first = add(queue, std::vector<std::uint8_t>(500, 7));
    ended(queue, first);
    ended(queue, again(first));
    ended(queue, again(first));
    ended(queue, add(queue, std::vector<std::uint8_t>(500, 7)));
    CHECK(queue.state(first));
    ended(queue, add(queue, std::vector<std::uint8_t>(500, 7)));
    CHECK_FALSE(queue.state(first));
}

TEST_CASE("A queue that ends leaves waiting photos unread") {
    ReadingQueue queue(on_sample_card());
    for (int i = 0; i < 5; ++i) add(queue, bytes_of("door.jpg"));
}

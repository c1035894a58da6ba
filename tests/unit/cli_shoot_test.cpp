// `bindhue shoot` as its user meets it, from a sequence of pictures in place of a camera, up to a photo that `bindhue read` reads.
#include <catch2/catch.hpp>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <sstream>

#include <nlohmann/json.hpp>

#include "colour/difference.hpp"
#include "support/command.hpp"
#include "support/live_frames.hpp"
#include "support/temporary_folder.hpp"

namespace fs = std::filesystem;
using nlohmann::json;

namespace {

Ended run(const fs::path& folder, const std::string& arguments) { return bindhue_command(arguments, folder); }

const std::string card = " --card '" + (samples / "card.json").string() + "' ";

void write_frames(const fs::path& folder, const std::vector<cv::Mat>& frames) {
    for (std::size_t i = 0; i < frames.size(); ++i) REQUIRE(cv::imwrite((folder / std::string("f").append(std::to_string(i)).append(".png")).string(), frames[i]));
}

}  // namespace

TEST_CASE("shoot says what to mend, keeps the mean of good frames, and read takes it") {
    const TemporaryFolder folder;
    const cv::Mat good = live_frame();
    write_frames(folder.path, {brighter(good, 0.3), noisy(good, 1, 3), noisy(good, 2, 3), noisy(good, 3, 3), noisy(good, 4, 3)});
    const Ended shot = run(folder.path, "shoot --from f%d.png --frames 4 --out door.png" + card);
    INFO(shot.err);
    REQUIRE(shot.code == 0);
    CHECK(shot.out.find("too dark") != std::string::npos);
    CHECK(shot.out.find("hold still") != std::string::npos);
    CHECK(shot.out.find("door.png written: the mean of 4 frames") != std::string::npos);

    const Ended again = run(folder.path, "shoot --from f%d.png --frames 4 --out door.png" + card);
    CHECK(again.code == 2);
    CHECK(again.err.find("--replace") != std::string::npos);

    const Ended lines = run(folder.path, "shoot --from f%d.png --frames 4 --out door.png --replace --json" + card);
    REQUIRE(lines.code == 0);
    std::istringstream in(lines.out);
    std::vector<json> events;
    for (std::string line; std::getline(in, line);) events.push_back(json::parse(line));
    REQUIRE(events.size() == 6);
    for (const json& e : events) {
        CHECK(e["format"] == "bindhue-shoot");
        CHECK(e["version"] == 1);
    }
    CHECK(events[0]["state"] == "mend");
    CHECK(events[0]["mend"][0]["fault"] == "too-dark");
    CHECK(events[1]["state"] == "hold");
    CHECK(events[5]["state"] == "saved");
    CHECK(events[5]["photo"] == "door.png");

    const Ended read = run(folder.path, "read door.png --json" + card);
    INFO(read.err);
    REQUIRE(read.code == 0);
    // The scarlet wrap, which the truth has at 18.2 mm.
    const json bands = json::parse(read.out)["bands"], truth = sample_truth("door")["bands"];
    bool found = false;
    for (const json& b : bands)
        if (b["role"] == "wrap" && std::abs(b["start_mm"].get<double>() - 18.2) < 1) {
            const auto lab = [](const json& v) { return bindhue::Lab<bindhue::D50>{v[0], v[1], v[2]}; };
            for (const json& t : truth)
                if (t["role"] == "wrap" && std::abs(t["start_mm"].get<double>() - 18.2) < 1) {
                    found = true;
                    CHECK(bindhue::ciede2000(lab(b["lab"]), lab(t["lab"])) < 4);
                }
        }
    CHECK(found);
}

TEST_CASE("shoot ends as its exit codes say, and then writes nothing") {
    const TemporaryFolder folder;
    write_frames(folder.path, {brighter(live_frame(), 0.3), brighter(live_frame(), 0.3)});
    struct Case {
        std::string arguments;
        int code;
        std::string says;
    };
    for (const Case& c : {Case{"shoot --from f%d.png --out s.png", 4, "too dark"}, {"shoot --from g%d.png --out s.png", 3, "no picture"}, {"shoot --camera 98 --out s.png", 3, "camera 98"},
                          {"shoot --out s.png", 2, "--camera"}, {"shoot --camera 0 --from f%d.png --out s.png", 2, "--"}, {"shoot --from f%d.png --out s.jpg", 2, ".png"},
                          {"shoot --from f%d.png --frames 0", 2, "--frames"}}) {
        const Ended ended = run(folder.path, c.arguments + card);
        INFO(c.arguments << ": " << ended.err);
        CHECK(ended.code == c.code);
        CHECK(ended.err.find(c.says) != std::string::npos);
        CHECK(ended.err.find("what to do") != std::string::npos);
        CHECK_FALSE(fs::exists(folder.path / "s.png"));
        CHECK_FALSE(fs::exists(folder.path / "s.jpg"));
    }
}

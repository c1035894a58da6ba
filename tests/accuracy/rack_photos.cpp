// Which spool is it? A rack is enrolled by photos of its dry thread; then dry thread of it is photographed again by the same camera, over the same card, with the
// lamps where they were and the camera held anew. Is the right spool the nearest, or among the five nearest, of the rack's readings of that kind, and of its
// colours as an instrument has them? Photos are drawn by `render random --what spools`; the program bindhue sees them alone.
#include <algorithm>
#include <array>
#include <cstdio>
#include <cstdlib>
#include <map>
#include <set>

#include "colour/difference.hpp"
#include "random_photos.hpp"

namespace {

using namespace bindhue;
using namespace bindhue::accuracy;

constexpr std::size_t widest_rack = 120;  // spools
constexpr const char* taken_under = "bench";

Lab<D50> lab_in(const json& j) { return Lab<D50>::from(j.at("lab").get<std::array<double, 3>>()); }

// Photos of one bench, by one camera.
class Bench {
  public:
    Bench(RandomOptions options, std::string kind, std::size_t first, fs::path folder)
        : options_(std::move(options)), kind_(std::move(kind)), first_(first), folder_(std::move(folder)) {
        const std::vector<fs::path> cameras = cameras_apart(options_.cameras, folder_);
        camera_ = cameras[first_ / 1000 % cameras.size()];
    }
    struct Photo {
        json truth;
        fs::path file;
    };
    Photo photo(std::size_t i) const {
        const std::string number = std::to_string(first_ + i);
        const json truth = drawn_changed(options_, number, base(i), kind_, number, camera_,
                                         [&](json& scene) {
                                             if (i > 0) keep_the_bench(scene, json::parse(text_of(base(0).string() + ".scene.json")));
                                         },
                                         {"--what", "spools"});
        return {truth, folder_ / truth.at("photo").get<std::string>()};
    }

    // Runs the program on a photo, told what all photos of the bench have in common.
    Ran ask(std::vector<std::string> words, const fs::path& folder) const {
        words.insert(words.begin(), options_.tool);
        words.insert(words.end(), {"--card", (source() / "samples/card.json").string(), "--camera", kind_, "--taken-under", taken_under, "--json"});
        return run(words, folder);
    }

  private:
    fs::path base(std::size_t i) const { return folder_ / ("rack-" + kind_ + "-" + std::to_string(first_ + i)); }

    RandomOptions options_;
    std::string kind_;
    std::size_t first_;
    fs::path folder_, camera_;
};

using Colours = std::map<std::string, Lab<D50>>;  // by code

struct Place {
    int asked = 0, first = 0, five = 0;
    void ask(const Colours& rack, const std::string& right, const Lab<D50>& read) {
        const double own = ciede2000(read, rack.at(right));
        const auto nearer = std::count_if(rack.begin(), rack.end(), [&](const auto& spool) { return ciede2000(read, spool.second) < own; });
        ++asked;
        first += nearer == 0;
        five += nearer < 5;
    }
    void print(const char* what) const { std::printf("    %-44s first %3.0f %%, in five %3.0f %%\n", what, share(first), share(five)); }
    double share(int part) const { return asked > 0 ? 100.0 * part / asked : 0; }
};

// Of one kind of photo.
struct Found {
    Place like, instrument;
    std::size_t spools = 0, not_enrolled = 0, not_read = 0, not_found = 0;
};

// The threads' codes from left to right; one that is there already is passed over.
std::string codes_of(const json& truth) {
    std::string out;
    std::set<std::string> seen;
    for (const json& band : truth.at("bands")) {
        if (band.at("role") != "wrap") continue;
        const std::string code = band.at("spool");
        out += (out.empty() ? "" : ",") + (seen.insert(code).second ? code : std::string("-"));
    }
    return out;
}

void ask_bench(const Bench& bench, std::size_t of_rack, std::size_t asked, Found& found) {
    const Desk shop;
    fs::copy_file(source() / "palettes/demo-shop/spools.json", shop.path / "spools.json");
    for (std::size_t i = 0; i < of_rack; ++i) {
        const Bench::Photo photo = bench.photo(i);
        const Ran ran = bench.ask({"spool", "enrol", photo.file.string(), "--code", codes_of(photo.truth), "--shop", shop.path.string()}, shop.path);
        if (ran.exit_code != 0) ++found.not_enrolled;
    }
    Colours by_photo, by_instrument;
    const json rack = json::parse(text_of(shop.path / "spools.json"));
    for (const json& spool : rack.at("spools"))
        for (const json& reading : spool.at("readings"))
            if (reading.value("light", "") == taken_under && by_photo.size() < widest_rack) {
                by_photo[spool.at("code")] = lab_in(reading);
                by_instrument[spool.at("code")] = lab_in(spool.at("readings")[0]);
            }
    found.spools += by_photo.size();
    for (std::size_t i = of_rack; i < of_rack + asked; ++i) {
        const Bench::Photo photo = bench.photo(i);
        const Ran ran = bench.ask({"read", photo.file.string()}, shop.path);
        if (ran.exit_code != 0) {
            ++found.not_read;
            continue;
        }
        const json read = json::parse(ran.out);
        for (const json& band : photo.truth.at("bands")) {
            const std::string code = band.value("spool", "");
            if (!by_photo.contains(code)) continue;
            const std::size_t over = band_over(read, band);
            if (over == 0) {
                ++found.not_found;
                continue;
            }
            const Lab<D50> colour = lab_in(read.at("bands")[over - 1]);
            found.like.ask(by_photo, code, colour);
            found.instrument.ask(by_instrument, code, colour);
        }
    }
}

}  // namespace

int main(int argc, char** argv) {
    // rack_photos FIRST_SEED RACK_PHOTOS ASKED_PHOTOS [FOLDER [BENCHES]]; benches a thousand seeds apart, photos by phone 500 further on
    if (argc < 4) return 2;
    const auto first = static_cast<std::size_t>(std::atoi(argv[1])), of_rack = static_cast<std::size_t>(std::atoi(argv[2])),
               asked = static_cast<std::size_t>(std::atoi(argv[3])), benches = argc > 5 ? static_cast<std::size_t>(std::atoi(argv[5])) : 1;
    const Desk own;
    const fs::path folder = argc > 4 ? fs::path(argv[4]) : own.path;
    fs::create_directories(folder);
    bool sound = true;
    for (const std::string kind : {"linear", "phone"}) {
        Found found;
        for (std::size_t b = 0; b < benches; ++b) ask_bench(Bench({}, kind, first + 1000 * b + (kind == "phone" ? 500 : 0), folder), of_rack, asked, found);
        std::printf("%-7s %zu benches, racks of %zu spools in the mean; %zu of %zu photos not enrolled, %zu of %zu not read; %d threads asked for, %zu not found\n", kind.c_str(), benches,
                    found.spools / benches, found.not_enrolled, benches * of_rack, found.not_read, benches * asked, found.like.asked, found.not_found);
        found.like.print("rack read by this camera, card and light:");
        found.instrument.print("rack known by instrument:");
        std::fflush(stdout);
        sound = sound && found.like.asked > 0 && found.like.share(found.like.five) > 80;
    }
    if (!sound) std::puts("FAILED: the right spool is not among the five nearest of its own kind in more than four of five");
    return sound ? 0 : 1;
}

// Which spool is it? A rack is enrolled by photos of its dry thread; then dry thread of it is photographed again by the same camera, over the same card, with the
// lamps where they were and the camera held anew. Is the right spool the nearest, or among the five nearest, of the rack's readings of that kind, and of its
// colours as an instrument has them? Photos are drawn by `render random --what spools`; the program bindhue sees them alone.
#include <algorithm>
#include <array>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <map>

#include "colour/difference.hpp"
#include "random_photos.hpp"

namespace {

using namespace bindhue;
using namespace bindhue::accuracy;

constexpr std::size_t widest_rack = 120;  // spools

Lab<D50> lab_in(const json& j) { return Lab<D50>::from(j.at("lab").get<std::array<double, 3>>()); }
double middle_of(const json& band) { return band.at("start_mm").get<double>() + band.at("length_mm").get<double>() / 2; }

std::vector<std::string> said_of_photo(const std::string& kind) {
    return {"--card", (source() / "samples/card.json").string(), "--camera", kind, "--taken-under", "bench", "--json"};
}

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

  private:
    fs::path base(std::size_t i) const { return folder_ / ("rack-" + kind_ + "-" + std::to_string(first_ + i)); }

    RandomOptions options_;
    std::string kind_;
    std::size_t first_;
    fs::path folder_, camera_;
};

struct Place {
    int asked = 0, first = 0, five = 0;
    // rack: colours by code.
    void ask(const std::map<std::string, Lab<D50>>& rack, const std::string& right, const Lab<D50>& read) {
        const double own = ciede2000(read, rack.at(right));
        const auto nearer = std::count_if(rack.begin(), rack.end(), [&](const auto& spool) { return ciede2000(read, spool.second) < own; });
        ++asked;
        first += nearer == 0;
        five += nearer < 5;
    }
    void print(const char* what) const { std::printf("    %-44s first %3.0f %%, in five %3.0f %%\n", what, share(first), share(five)); }
    double share(int part) const { return asked > 0 ? 100.0 * part / asked : 0; }
};

}  // namespace

int main(int argc, char** argv) {
    // rack_photos FIRST_SEED RACK_PHOTOS ASKED_PHOTOS [FOLDER [BENCHES]]; benches a thousand seeds apart, photos by phone 500 further on
    if (argc < 4) return 2;
    const auto first = static_cast<std::size_t>(std::atoi(argv[1])), of_rack = static_cast<std::size_t>(std::atoi(argv[2])),
               asked = static_cast<std::size_t>(std::atoi(argv[3])), benches = argc > 5 ? static_cast<std::size_t>(std::atoi(argv[5])) : 1;
    const Desk own;
    const fs::path folder = argc > 4 ? fs::path(argv[4]) : own.path;
    fs::create_directories(folder);
    const RandomOptions options;
    bool sound = true;
    for (const std::string kind : {"linear", "phone"}) {
        Place like, instrument;
        std::size_t rack_size = 0, not_enrolled = 0, not_read = 0, not_found = 0;
        for (std::size_t b = 0; b < benches; ++b) {
            const Bench bench(options, kind, first + 1000 * b + (kind == "phone" ? 500 : 0), folder);
            const Desk shop;
            fs::copy_file(source() / "palettes/demo-shop/spools.json", shop.path / "spools.json");
            for (std::size_t i = 0; i < of_rack; ++i) {
                const Bench::Photo photo = bench.photo(i);
                std::string codes;
                std::map<std::string, int> seen;
                for (const json& band : photo.truth.at("bands")) {
                    if (band.at("role") != "wrap") continue;
                    const std::string code = band.at("spool");
                    codes += (codes.empty() ? "" : ",") + (seen[code]++ == 0 ? code : std::string("-"));
                }
                std::vector<std::string> words{options.tool, "spool", "enrol", photo.file.string(), "--code", codes, "--shop", shop.path.string()};
                for (const std::string& word : said_of_photo(kind)) words.push_back(word);
                if (run(words, shop.path).exit_code != 0) ++not_enrolled;
            }
            std::map<std::string, Lab<D50>> by_photo, by_instrument;
            const json rack = json::parse(text_of(shop.path / "spools.json"));
            for (const json& spool : rack.at("spools"))
                for (const json& reading : spool.at("readings"))
                    if (reading.value("light", "") == "bench" && by_photo.size() < widest_rack) {
                        by_photo[spool.at("code")] = lab_in(reading);
                        by_instrument[spool.at("code")] = lab_in(spool.at("readings")[0]);
                    }
            rack_size += by_photo.size();
            for (std::size_t i = of_rack; i < of_rack + asked; ++i) {
                const Bench::Photo photo = bench.photo(i);
                std::vector<std::string> words{options.tool, "read", photo.file.string()};
                for (const std::string& word : said_of_photo(kind)) words.push_back(word);
                const Ran ran = run(words, shop.path);
                if (ran.exit_code != 0) {
                    ++not_read;
                    continue;
                }
                const json read = json::parse(ran.out);
                for (const json& band : photo.truth.at("bands")) {
                    const std::string code = band.value("spool", "");
                    if (!by_photo.contains(code)) continue;
                    const std::size_t found = band_at(read, middle_of(band));
                    if (found == 0) {
                        ++not_found;
                        continue;
                    }
                    const Lab<D50> colour = lab_in(read.at("bands")[found - 1]);
                    like.ask(by_photo, code, colour);
                    instrument.ask(by_instrument, code, colour);
                }
            }
        }
        std::printf("%-7s %zu benches, racks of %zu spools in the mean; %zu of %zu photos not enrolled, %zu of %zu not read; %d threads asked for, %zu not found\n", kind.c_str(), benches,
                    rack_size / benches, not_enrolled, benches * of_rack, not_read, benches * asked, like.asked, not_found);
        like.print("rack read by this camera, card and light:");
        instrument.print("rack known by instrument:");
        std::fflush(stdout);
        sound = sound && like.asked > 0 && like.share(like.five) > 80;
    }
    if (!sound) std::puts("FAILED: the right spool is not among the five nearest of its own kind in more than four of five");
    return sound ? 0 : 1;
}

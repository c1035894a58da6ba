// Times the way from a photo to a ranked answer, and from a command to its first word, beside the decoding of that photo: `bindhue match` as its user runs it,
// with a rack of 300. Seconds by the clock, of the processor, and memory at most, medians; decoding takes turns with it.
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <functional>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "colour/quantile.hpp"
#include "support/temporary_folder.hpp"

namespace {

namespace fs = std::filesystem;
using nlohmann::json;

struct Cost {
    double clock_s = 0, processor_s = 0, memory_mb = 0;
};

double seconds(const timeval& t) { return static_cast<double>(t.tv_sec) + 1e-6 * static_cast<double>(t.tv_usec); }

// What a child process takes for it; its output goes nowhere.
Cost cost_of(const std::function<void()>& work) {
    const auto start = std::chrono::steady_clock::now();
    std::fflush(nullptr);
    const pid_t child = fork();
    if (child == 0) {
        if (std::freopen("/dev/null", "w", stdout) == nullptr || std::freopen("/dev/null", "w", stderr) == nullptr) _exit(1);
        work();
        _exit(1);  // it did not end by itself
    }
    int status = 0;
    rusage used{};
    if (child < 0 || wait4(child, &status, 0, &used) != child || !WIFEXITED(status) || WEXITSTATUS(status) != 0) {
        std::fprintf(stderr, "speed_answer: a program could not be run, or failed\n");
        std::exit(1);
    }
    return {std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count(), seconds(used.ru_utime) + seconds(used.ru_stime),
            static_cast<double>(used.ru_maxrss) / 1024};
}

double median(const std::vector<Cost>& costs, double Cost::*what) {
    std::vector<double> values;
    for (const Cost& cost : costs) values.push_back(cost.*what);
    return bindhue::median(std::move(values));
}

void print(const std::string& what, const std::vector<Cost>& costs) {
    std::printf("    %-44s %7.3f s  %7.3f s  %6.0f MB\n", what.c_str(), median(costs, &Cost::clock_s), median(costs, &Cost::processor_s), median(costs, &Cost::memory_mb));
}

// The demo shop's rack, and its spools again under other codes up to 300.
void write_rack(const fs::path& from, const fs::path& to) {
    json rack = json::parse(std::ifstream(from));
    json& spools = rack.at("spools");
    for (std::size_t i = 0, own = spools.size(); spools.size() < 300; ++i) {
        json again = spools[i % own];
        again["code"] = again.at("code").get<std::string>() + "-" + std::to_string(2 + i / own);
        spools.push_back(again);
    }
    std::ofstream(to) << rack;
}

}  // namespace

int main(int argc, char** argv) {
    if (argc != 5) {
        std::fprintf(stderr, "speed_answer BINDHUE PHOTO LAYOUT RACK: the program, samples/photos/door.jpg, samples/card.json, palettes/demo-shop/spools.json\n");
        return 2;
    }
    const std::string program = argv[1], layout = argv[3];
    const cv::Mat photo = cv::imread(argv[2], cv::IMREAD_COLOR);
    if (photo.empty()) return 2;
    const TemporaryFolder own;
    const fs::path& folder = own.path;
    fs::create_directories(folder / "shop");
    write_rack(argv[4], folder / "shop/spools.json");
    const auto command = [&](std::vector<std::string> words) {
        words.insert(words.begin(), program);
        std::vector<char*> list;
        for (std::string& w : words) list.push_back(w.data());
        list.push_back(nullptr);
        execv(program.c_str(), list.data());
    };
    std::printf("    %-44s %9s  %9s  %9s\n", "medians of 9", "clock", "processor", "memory");
    std::vector<Cost> help;
    for (int i = 0; i < 9; ++i) help.push_back(cost_of([&] { command({"--help"}); }));
    print("bindhue --help", help);
    for (const double megapixels : {0.0, 12.0, 48.0}) {
        cv::Mat scaled = photo;
        if (megapixels > 0) {
            const double scale = std::sqrt(1e6 * megapixels / static_cast<double>(photo.total()));
            cv::resize(photo, scaled, {}, scale, scale, cv::INTER_CUBIC);
        }
        const std::string file = (folder / "photo.jpg").string();
        if (!cv::imwrite(file, scaled, {cv::IMWRITE_JPEG_QUALITY, 93})) return 1;
        const double pixels = static_cast<double>(scaled.total());
        scaled.release();  // a child begins with its parent's memory
        std::vector<Cost> decoding, answer;
        for (int i = 0; i < 9; ++i) {
            decoding.push_back(cost_of([&] {
                _exit(cv::imread(file, cv::IMREAD_COLOR).empty() ? 1 : 0);
            }));
            answer.push_back(cost_of([&] { command({"match", file, "--card", layout, "--shop", (folder / "shop").string()}); }));
        }
        char size[40];
        std::snprintf(size, sizeof size, "%.0f MP, ", pixels / 1e6);
        print(size + std::string("decoded by OpenCV"), decoding);
        print(size + std::string("photo to ranked answer, 300 spools"), answer);
        std::printf("    %-44s %7.1f    %7.1f      %6.1f (of the frame, %.0f MB)\n", "    times", median(answer, &Cost::clock_s) / median(decoding, &Cost::clock_s),
                    median(answer, &Cost::processor_s) / median(decoding, &Cost::processor_s), median(answer, &Cost::memory_mb) * 1048576 / (3.0 * pixels),
                    3.0 * pixels / 1048576);
    }
    return 0;
}

// The arrows of the house: who may include whom. See DEVELOPERS.md, "The map".
#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <map>
#include <regex>
#include <set>
#include <string>

#include "support/source_dir.hpp"

namespace fs = std::filesystem;

namespace {

// Folder of every quoted include below a folder, with the file that has it.
std::multimap<std::string, std::string> quoted_includes(const fs::path& folder) {
    std::multimap<std::string, std::string> out;
    const std::regex include("^\\s*#include \"([a-z_]+)/");
    for (const auto& entry : fs::recursive_directory_iterator(folder)) {
        if (entry.path().extension() != ".cpp" && entry.path().extension() != ".hpp") continue;
        std::ifstream in(entry.path());
        for (std::string line; std::getline(in, line);)
            if (std::smatch match; std::regex_search(line, match, include)) out.emplace(match[1], entry.path().filename());
    }
    return out;
}

void only(const fs::path& folder, const std::set<std::string>& allowed) {
    const auto includes = quoted_includes(folder);
    CHECK_FALSE(includes.empty());
    for (const auto& [target, file] : includes) {
        INFO(folder << "/" << file << " includes " << target << "/");
        CHECK(allowed.contains(target));
    }
}

const fs::path root = in_source("");

}  // namespace

TEST_CASE("the library includes nothing of the tool's") { only(root / "libcolour", {"colour"}); }

TEST_CASE("each step of the tool sees only the steps before it") {
    only(root / "capture/photo", {"photo", "colour"});
    only(root / "capture/shop", {"shop", "colour"});
    only(root / "capture/card", {"card", "photo", "shop", "colour"});
    only(root / "capture/wrap", {"wrap", "card", "photo", "shop", "colour"});
    only(root / "capture/media", {"media", "colour"});
    only(root / "capture/live", {"live", "media", "wrap", "card", "photo", "shop", "colour"});
    only(root / "capture/reading", {"reading", "wrap", "card", "photo", "shop", "colour"});
}

TEST_CASE("shells see readings, files and the library only") {
    only(root / "capture/bench", {"bench", "live", "media", "sheet", "reading", "shop", "colour"});
    only(root / "capture/sheet", {"sheet", "reading", "shop", "colour"});
    only(root / "capture/cli", {"cli", "bench", "live", "sheet", "reading", "shop", "colour"});
}

TEST_CASE("the renderer shares no colour code with what it tests") {
    for (const auto& entry : fs::directory_iterator(root / "samples/render")) {
        std::ifstream in(entry.path());
        for (std::string line; std::getline(in, line);)
            if (line.find("#include \"colour/") != std::string::npos) {
                INFO(entry.path());
                CHECK(line.find("colour/cie_tables.hpp") != std::string::npos);
            }
    }
}

TEST_CASE("only one file knows OpenCV's fiducial interface for finding") {
    std::size_t users = 0;
    for (const auto& entry : fs::recursive_directory_iterator(root / "capture")) {
        if (!entry.is_regular_file()) continue;
        std::ifstream in(entry.path());
        const std::string text((std::istreambuf_iterator<char>(in)), {});
        if (text.find("detectMarkers") != std::string::npos) ++users;
    }
    CHECK(users == 1);
}

#include "shop/atomic_file.hpp"

#include <signal.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <catch2/catch.hpp>
#include <chrono>
#include <thread>

#include "support/temporary_folder.hpp"

using namespace bindhue;
using namespace bindhue::capture;
namespace fs = std::filesystem;

TEST_CASE("A file is replaced whole and the version before it is kept") {
    const TemporaryFolder folder;
    const fs::path path = folder.path / "a.json";
    REQUIRE(save_file(path, "first"));
    CHECK_FALSE(fs::exists(folder.path / "a.json.previous"));
    REQUIRE(save_file(path, "second"));
    REQUIRE(save_file(path, "third"));
    CHECK(*read_file(path) == "third");
    CHECK(*read_file(folder.path / "a.json.previous") == "second");
    CHECK(std::distance(fs::directory_iterator(folder.path), {}) == 2);
    REQUIRE(save_file(path, "fourth", Previous::forgotten));
    CHECK(*read_file(path) == "fourth");
    CHECK(*read_file(folder.path / "a.json.previous") == "second");
}

TEST_CASE("A file keeps its permissions and a symbolic link stays one") {
    const TemporaryFolder folder;
    const fs::path path = folder.path / "a.json", link = folder.path / "link.json";
    REQUIRE(save_file(path, "first"));
    ::chmod(path.c_str(), 0640);
    fs::create_symlink("a.json", link);
    REQUIRE(save_file(link, "second"));
    CHECK(fs::is_symlink(link));
    CHECK(*read_file(path) == "second");
    struct stat status {};
    REQUIRE(::stat(path.c_str(), &status) == 0);
    CHECK((status.st_mode & 07777) == 0640);
}

TEST_CASE("A disk without room leaves the old version and no litter, and says so") {
    const TemporaryFolder folder;
    const fs::path path = folder.path / "a.json";
    REQUIRE(save_file(path, "old"));
    const pid_t child = ::fork();
    REQUIRE(child >= 0);
    if (child == 0) {
        ::signal(SIGXFSZ, SIG_IGN);
        const rlimit limit{1000, 1000};
        ::setrlimit(RLIMIT_FSIZE, &limit);
        const Status saved = save_file(path, std::string(5000, 'x'));
        ::_exit(!saved && saved.error().reason == Reason::storage &&
                        saved.error().mend.find("room") != std::string::npos
                    ? 0
                    : 1);
    }
    int status = 0;
    REQUIRE(::waitpid(child, &status, 0) == child);
    CHECK(WIFEXITED(status));
    CHECK(WEXITSTATUS(status) == 0);
    CHECK(*read_file(path) == "old");
    for (const auto& entry : fs::directory_iterator(folder.path))
        CHECK(entry.path().filename().string().find(".saving") == std::string::npos);
}

TEST_CASE("A program killed while it saves leaves one whole version") {
    const TemporaryFolder folder;
    const fs::path path = folder.path / "a.json";
    const std::string one(200'000, '1'), two(300'000, '2');
    REQUIRE(save_file(path, one));
    for (int cut = 0; cut < 40; ++cut) {
        const pid_t child = ::fork();
        REQUIRE(child >= 0);
        if (child == 0)
            for (;;) {
                if (!save_file(path, two) || !save_file(path, one)) ::_exit(1);
            }
        std::this_thread::sleep_for(std::chrono::microseconds(300 + 257 * cut));
        ::kill(child, SIGKILL);
        int status = 0;
        REQUIRE(::waitpid(child, &status, 0) == child);
        CHECK(WIFSIGNALED(status));
        const auto text = read_file(path);
        REQUIRE(text);
        const bool whole = *text == one || *text == two;
        CHECK(whole);
        if (fs::exists(path.string() + ".previous")) {
            const auto previous = read_file(path.string() + ".previous");
            REQUIRE(previous);
            const bool previous_whole = *previous == one || *previous == two;
            CHECK(previous_whole);
        }
    }
}

TEST_CASE("Places where nothing can be saved or read are named") {
    const TemporaryFolder folder;
    const auto nowhere = save_file(folder.path / "no" / "a.json", "x");
    REQUIRE_FALSE(nowhere);
    CHECK(nowhere.error().reason == Reason::storage);
    CHECK(nowhere.error().where.find("no") != std::string::npos);
    const auto directory = read_file(folder.path);
    REQUIRE_FALSE(directory);
    CHECK(directory.error().reason == Reason::storage);
    const auto missing = read_file(folder.path / "missing");
    REQUIRE_FALSE(missing);
    CHECK(missing.error().reason == Reason::not_found);
    CHECK_FALSE(save_file(folder.path, "x"));
    CHECK(fs::is_directory(folder.path));
}

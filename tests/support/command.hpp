// The program `bindhue`, run as its user runs it.
#pragma once

#include <sys/wait.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>

#include "support/source_dir.hpp"
#include "support/temporary_folder.hpp"

struct Ended {
    int code = -1;
    std::string out, err;
};

inline std::string text_of(const std::filesystem::path& path) {
    std::ifstream in(path, std::ios::binary);
    return {std::istreambuf_iterator<char>(in), {}};
}

inline std::string quoted(const std::filesystem::path& path) {
    return std::string("'").append(path.string()).append("'");
}

// arguments: as typed into a shell. Runs in `folder`, or where the test does.
inline Ended bindhue_command(const std::string& arguments, const std::filesystem::path& folder = ".") {
    const TemporaryFolder desk;
    const std::filesystem::path out = desk.path / "out", err = desk.path / "err";
    const std::string line = std::string("cd ")
                                 .append(quoted(folder))
                                 .append(" && '" + bindhue_program() + "' ")
                                 .append(arguments)
                                 .append(" </dev/null >")
                                 .append(quoted(out))
                                 .append(" 2>")
                                 .append(quoted(err));
    const int status = std::system(line.c_str());
    return {WIFEXITED(status) ? WEXITSTATUS(status) : -1, text_of(out), text_of(err)};
}

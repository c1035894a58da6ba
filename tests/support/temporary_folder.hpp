// A folder of a test's own, gone when the test ends.
#pragma once

#include <stdlib.h>

#include <filesystem>
#include <string>

struct TemporaryFolder {
    std::filesystem::path path;

    TemporaryFolder() {
        std::string name = (std::filesystem::temp_directory_path() / "bindhue-XXXXXX").string();
        if (::mkdtemp(name.data())) path = name;
    }
    TemporaryFolder(const TemporaryFolder&) = delete;
    TemporaryFolder& operator=(const TemporaryFolder&) = delete;
    ~TemporaryFolder() {
        std::error_code ignored;
        if (!path.empty()) std::filesystem::remove_all(path, ignored);
    }
};

// The parts of bindhue coat: each adds its commands to it.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include <CLI/CLI.hpp>

#include "colour/coat_check.hpp"
#include "cli/command.hpp"
#include "cli/finish_arguments.hpp"
#include "shop/coat_tests.hpp"

namespace bindhue::capture::cli {

// A test wrap as it is given on the command line: before and after coating, in photos or numbers.
struct TestWrapArguments {
    PhotoArguments photo;
    std::vector<std::string> before, after;  // photos, or one L,a,b
    std::size_t before_band = 0, after_band = 0;
    std::string material, schedule, ground, spool;
    double size_mm = 0.15;
    FinishArguments finish;

    void add_to(CLI::App& command);
    // What is missing or said twice; none if nothing is.
    std::optional<std::string> misuse() const;
    // Precondition: no misuse. `shop`: whose rack has the spool and the underwrap.
    Result<TestWrap> read(const std::string& shop) const;
    std::string source() const;  // in words, for the file
};

// Old wrap and new wrap beside each other, in photos.
struct BesideArguments {
    std::vector<std::string> photos;
    std::size_t old_band = 0, new_band = 0;

    void add_to(CLI::App& command);
    bool given() const { return !photos.empty() || old_band != 0 || new_band != 0; }
    std::optional<std::string> misuse() const;
    // Precondition: no misuse. Reads, compares and prints; answers the exit code.
    int run(const PhotoArguments& how, double tolerance, bool json) const;
};

// Tests that the others contradict, named.
void print_outliers(const CoatTestFile& file, const CoatModel& model);

void add_coat_check(CLI::App& coat, int& exit_code);
void add_coat_opacity(CLI::App& coat, int& exit_code);
void add_coat_model(CLI::App& coat, int& exit_code);

}  // namespace bindhue::capture::cli

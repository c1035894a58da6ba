// What every command shares: exit codes, error messages, machine output.
#pragma once

#include <array>
#include <optional>
#include <string>
#include <vector>

#include <CLI/CLI.hpp>
#include <nlohmann/json.hpp>

#include "colour/reading.hpp"
#include "colour/result.hpp"
#include "reading/reading.hpp"
#include "reading/reading_json.hpp"
#include "reading/several.hpp"
#include "sheet/number.hpp"
#include "shop/today.hpp"

namespace bindhue::capture::cli {

enum ExitCode { done = 0, wrong_usage = 2, unreadable_input = 3, cannot_measure = 4, storage_failed = 5 };

// Prints what is wrong, where, and how to mend it on standard error, and answers the exit code.
int fail(const Error& error);

// The layout in a file; of no file, our bench card.
Result<CardLayout> card_from(const std::string& path);
// "x,y,x,y,x,y,x,y"; none of an empty text. `option` names it in the error. Error: bad_value.
Result<std::optional<std::array<PixelPoint, 4>>> corners_from(const std::string& text, const std::string& option);
// Whether a file may be written there; where one is and may not be replaced, says so on standard error: then the exit code is wrong_usage.
bool may_write(const std::string& path, bool replace);

// Options that say how a photo is to be read.
struct PhotoArguments {
    std::string card;                 // path of a layout; the bench card if empty
    std::string corners;              // x,y,x,y,x,y,x,y
    std::string region;               // x,y,w,h
    std::string edges;                // mm,mm,...
    std::vector<std::string> lights;  // one for all photos, or one a photo
    std::string camera;               // where the file does not say
    bool linear = false;

    void add_to(CLI::App& command);
    void add_card_to(CLI::App& command);  // only the options that suit any number of photos
    Result<ReadOptions> options() const;
    // edges_mm: if given, instead of the option.
    Result<WrapReading> read(const std::vector<std::string>& paths, std::optional<std::vector<double>> edges_mm = {}) const;
};

void print_json(const nlohmann::ordered_json& document);

// L* 41.2 a* 30.1 b* 20.4
std::string in_words(const Lab<D50>& lab);
// Half widths of the 95 % intervals of L, a and b, each alone: "+-1.2 0.9 1.1".
std::string spread_in_words(const Matrix3& covariance);

// "note: ...", a line each, on standard output.
void print_notes(const std::vector<std::string>& notes);

bool terminal_has_colour();

// Each adds its command to the program; `exit_code` receives how it ended.
void add_read(CLI::App& app, int& exit_code);
void add_match(CLI::App& app, int& exit_code);
void add_card(CLI::App& app, int& exit_code);
void add_spool(CLI::App& app, int& exit_code);
void add_shop(CLI::App& app, int& exit_code);
void add_coat(CLI::App& app, int& exit_code);
void add_job(CLI::App& app, int& exit_code);
void add_audit(CLI::App& app, int& exit_code);
void add_bench(CLI::App& app, int& exit_code);
void add_shoot(CLI::App& app, int& exit_code);

}  // namespace bindhue::capture::cli

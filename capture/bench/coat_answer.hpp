// The shop's coat tests, as the page draws and tells them.
#pragma once

#include <filesystem>

#include "bench/answers.hpp"

namespace bindhue::capture::bench {

// {state: "done", tests, groups[] {material, schedule, tests, held_out {median, p95} or null, rows[] {number, dry, finished, expected {lab, covariance}, each with
// its colour for a screen, ground [3], size_mm, delta_e, by, outlier, source, date}, left_off}}. Expected is what the other tests of the group teach
// (beyond 40, a fortieth of them is held out at a time), `by` says how many those are: 0, optics alone. Errors: those of load_coat_tests().
Result<Answer> coat_answer(const std::filesystem::path& shop);

}  // namespace bindhue::capture::bench

// The shop's coat tests, as the page draws and tells them.
#pragma once

#include <filesystem>

#include "bench/answers.hpp"

namespace bindhue::capture::bench {

// {state: "done", tests, groups[] {material, schedule, tests, held_out {median, p95} or null, rows[] {number, dry, finished, expected {lab, covariance}, each with
// its colour for a screen, ground [3], size_mm, delta_e, by, outlier, source, date}, left_off}}. Expected is what the other tests of the group teach
// (beyond 40, a fortieth of them is held out at a time), `by` says how many those are: 0, optics alone. Errors: those of load_coat_tests().
Result<Answer> coat_answer(const std::filesystem::path& shop);

// A test wrap that was read before and after coating, against what was to be expected, as `bindhue coat check` tells it; with `keep` it is kept for the shop to
// learn from, as `bindhue coat add` does. Query: `spool`, `schedule`, `ground` (as check_ground takes it; empty: the blank as read before), `before_band`,
// `after_band` (from 1; none: the wrap in the same place). Answers what the command's JSON has, and {words, expectation, dry, finished, expected (each with its
// colour for a screen), kept, tests}. Errors: those of test_wrap(), check_coat() and the shop's files.
enum class Keep { no, yes };
Result<Answer> coat_check_answer(const DoneReading& before, const DoneReading& after, const std::filesystem::path& shop, const Query& query, Keep keep);

}  // namespace bindhue::capture::bench

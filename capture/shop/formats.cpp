#include "shop/formats.hpp"

#include "colour/reading.hpp"
#include "shop/colour_json.hpp"

namespace bindhue::capture {
namespace {

constexpr std::size_t most = 1'000'000;  // in a list; the readers of today's version know better

// Calls each(older, newer) for what a list field holds, if it is there.
template <class F>
void each_in(const JsonCursor& older, Json& newer, const char* field, F each) {
    const auto list = older.find(field);
    if (!list) return;
    for (std::size_t i = 0, n = list->size(0, most); i < n && !list->failed(); ++i) each((*list)[i], newer[field][i]);
}

// Version 1 wrote a covariance as three rows of three numbers, of which three say again what others say, and may not differ from them.
void covariance_in_six(const JsonCursor& older, Json& newer, const char* field) {
    const auto at = older.find(field);
    if (!at) return;
    const Matrix3 covariance = matrix_at(*at);
    if (!at->failed()) at->check(validate(Reading{{}, covariance, {}}));
    if (!at->failed()) newer[field] = covariance_json(covariance);
}

void spools_1_to_2(const JsonCursor& older, Json& newer) {
    each_in(older, newer, "spools", [](const JsonCursor& spool, Json& its) {
        for (const char* readings : {"readings", "past_readings"})
            each_in(spool, its, readings, [](const JsonCursor& reading, Json& one) {
                for (const char* field : {"covariance", "shared"}) covariance_in_six(reading, one, field);
            });
    });
}

void coat_tests_1_to_2(const JsonCursor& older, Json& newer) {
    each_in(older, newer, "tests", [](const JsonCursor& test, Json& its) {
        for (const char* field : {"ground_covariance", "dry_covariance", "finished_covariance"}) covariance_in_six(test, its, field);
    });
}

constexpr Migration spools_steps[] = {spools_1_to_2};
constexpr Migration coat_tests_steps[] = {coat_tests_1_to_2};

}  // namespace

const FileFormat spools_format{"bindhue-spools", spools_steps};
const FileFormat coat_tests_format{"bindhue-coat-tests", coat_tests_steps};
const FileFormat job_format{"bindhue-job"};
const FileFormat settings_format{"bindhue-settings"};
const FileFormat reading_format{"bindhue-reading"};
const FileFormat card_format{"bindhue-card"};
const FileFormat camera_light_format{"bindhue-camera-light"};

}  // namespace bindhue::capture

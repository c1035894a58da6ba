#include "bench/coat_answer.hpp"

#include <algorithm>
#include <vector>

#include "colour/coat_held_out.hpp"
#include "colour/difference.hpp"
#include "reading/reading_json.hpp"
#include "reading/test_wrap.hpp"
#include "shop/coat_tests.hpp"
#include "shop/numbers.hpp"
#include "shop/shop.hpp"
#include "shop/today.hpp"

namespace bindhue::capture::bench {
namespace {

constexpr std::size_t most_folds = 40, most_rows = 100;

Answer seen_lab(const Lab<D50>& lab) { return {{"lab", to_json(lab)}, {"screen", on_screen(lab)}}; }

// One group's tests, each with what the others make expect.
Answer rows_of(const std::vector<CoatTestEntry>& entries, const std::vector<std::size_t>& own, const std::vector<std::size_t>& outliers) {
    const std::size_t folds = std::min(most_folds, own.size()), shown = std::min(most_rows, own.size());
    std::vector<Answer> rows(shown);
    for (std::size_t fold = 0; fold < std::min(folds, shown); ++fold) {
        std::vector<CoatTest> others;
        for (std::size_t i = 0; i < own.size(); ++i)
            if (i % folds != fold) others.push_back(entries[own[i]].test);
        const CoatModel model(others);
        for (std::size_t i = fold; i < shown; i += folds) {
            const CoatTestEntry& entry = entries[own[i]];
            const CoatTest& test = entry.test;
            Answer& row = rows[i];
            row = {{"number", own[i] + 1}, {"dry", seen_lab(test.dry)}, {"finished", seen_lab(test.finished)}, {"expected", nullptr},
                   {"ground", to_json(test.ground)}, {"size_mm", test.size_mm}};
            row["by"] = model.tests(test.material, test.schedule);
            row["outlier"] = std::find(outliers.begin(), outliers.end(), own[i]) != outliers.end();
            row["source"] = entry.source;
            row["date"] = entry.date;
            const Result<Reading> look = model.predict(test.material, test.schedule, test.size_mm, {test.dry, test.dry_covariance, {}}, {test.ground, test.ground_covariance, {}});
            if (!look) continue;
            row["expected"] = seen_lab(look->lab);
            row["expected"]["covariance"] = to_json(look->covariance);
            row["delta_e"] = ciede2000(look->lab, test.finished);
        }
    }
    return rows;
}

std::string named(const DoneReading& reading) {
    std::string out;
    for (const auto& photo : reading.photos) out.append(out.empty() ? "" : ", ").append(photo->name.empty() ? "a photo of the bench page" : photo->name);
    return out;
}

// Numbers of the bands from 1; 0: not said.
Result<std::size_t> band_said(const Query& query, const char* field) {
    const std::string text = one_of(query, field);
    if (text.empty()) return std::size_t{0};
    if (const auto number = whole_number(text)) return *number;
    return Error{Reason::bad_value, "the band is no number", field, "choose it on the bench page again"};
}

}  // namespace

Result<Answer> coat_check_answer(const DoneReading& before, const DoneReading& after, const std::filesystem::path& shop, const Query& query, Keep keep) {
    const Result<std::size_t> first = band_said(query, "before_band"), second = band_said(query, "after_band");
    if (!first) return first.error();
    if (!second) return second.error();
    TestWrapSaid said;
    said.spool = one_of(query, "spool");
    said.schedule = one_of(query, "schedule");
    said.ground = one_of(query, "ground");
    if (said.spool.empty()) return Error{Reason::bad_value, "the spool is not said", "spool", "write the code of the spool that the test was wound from"};
    const Result<Shop> opened = Shop::open(shop, keep == Keep::yes ? Access::change : Access::read);
    if (!opened) return opened.error();
    const Result<SpoolFile> rack = opened->spools();
    if (!rack) return rack.error();
    const Result<TestWrap> wrap = test_wrap({&before.reading, {}, *first}, {&after.reading, {}, *second}, said, rack->palette());
    if (!wrap) return wrap.error();
    Result<CoatTestFile> file = load_coat_tests(opened->folder());
    if (!file) return file.error();
    const Result<CoatCheck> check = check_coat(CoatModel(file->tests()), *wrap);
    if (!check) return check.error();
    if (keep == Keep::yes) {
        const Result<CoatTest> test = coat_test_of(*wrap);
        if (!test) return test.error();
        file->entries.push_back({*test, "test wrap of " + said.spool + ": before " + named(before) + "; after " + named(after), today(), {}});
        if (const Status saved = save_coat_tests(opened->folder(), *file); !saved) return saved.error();
    }
    Answer out = to_json(*wrap, *check);
    out["words"] = verdict_in_words(*wrap, *check);
    out["expectation"] = expectation_in_words(*check);
    out["dry"] = seen(wrap->dry);
    out["finished"] = seen(wrap->finished);
    out["expected"] = seen(check->expected_look);
    out["kept"] = keep == Keep::yes;
    out["tests"] = file->entries.size();
    return out;
}

Result<Answer> coat_answer(const std::filesystem::path& shop) {
    const Result<CoatTestFile> file = load_coat_tests(shop);
    if (!file) return file.error();
    const std::vector<CoatTest> tests = file->tests();
    const CoatModel model(tests);
    const std::vector<HeldOut> proof = held_out(tests);
    Answer out = opening("bindhue-bench-coats");
    out["state"] = "done";
    out["tests"] = tests.size();
    out["groups"] = Answer::array();
    for (const Material material : all_materials)
        for (const Schedule schedule : all_schedules) {
            std::vector<std::size_t> own;
            for (std::size_t i = 0; i < tests.size(); ++i)
                if (tests[i].material == material && tests[i].schedule == schedule) own.push_back(i);
            if (own.empty()) continue;
            Answer group{{"material", name(material)}, {"schedule", name(schedule)}, {"tests", own.size()}, {"held_out", nullptr}};
            for (const HeldOut& h : proof)
                if (h.material == material && h.schedule == schedule) group["held_out"] = {{"median", h.learned.median}, {"p95", h.learned.p95}};
            group["rows"] = rows_of(file->entries, own, model.outliers());
            group["left_off"] = own.size() - group["rows"].size();
            out["groups"].push_back(std::move(group));
        }
    return out;
}

}  // namespace bindhue::capture::bench

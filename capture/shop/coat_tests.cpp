#include "shop/coat_tests.hpp"

#include <cmath>

#include "shop/atomic_file.hpp"
#include "shop/colour_json.hpp"
#include "shop/csv.hpp"
#include "shop/formats.hpp"

namespace bindhue::capture {
namespace {

constexpr std::size_t most_tests = 100'000;

// A field that may be missing: then nothing is known of what that reading errs by.
Matrix3 covariance_of(const JsonCursor& test, const char* field, const Lab<D50>& lab) {
    const auto at = test.find(field);
    if (!at) return {};
    const Matrix3 out = covariance_at(*at);
    if (!test.failed()) at->check(validate(Reading{lab, out, {}}));
    return out;
}

}  // namespace

std::vector<CoatTest> CoatTestFile::tests() const {
    std::vector<CoatTest> out;
    for (const CoatTestEntry& e : entries) out.push_back(e.test);
    return out;
}

Result<std::vector<CoatTestEntry>> read_coat_table(std::string_view text, const std::string& where) {
    const Result<CsvTable> table = read_csv(text, where);
    if (!table) return table.error();
    const Status complete = table->require({"material", "size_mm", "schedule", "ground_L", "ground_a", "ground_b", "dry_L",
                                            "dry_a", "dry_b", "finished_L", "finished_a", "finished_b"});
    if (!complete) return complete.error();
    std::vector<CoatTestEntry> out;
    for (std::size_t row = 0; row < table->rows(); ++row) {
        CoatTestEntry entry;
        const Result<Material> material = table->word(row, "material", parse_material);
        if (!material) return material.error();
        const Result<Schedule> schedule = table->word(row, "schedule", parse_schedule);
        if (!schedule) return schedule.error();
        const Result<double> size = table->number(row, "size_mm", min_thread_mm, max_thread_mm);
        if (!size) return size.error();
        entry.test = CoatTest{*material, *schedule, *size, {}, {}, {}, {}, {}, {}, {}};
        for (const auto& [before, colour] : {std::pair{"ground_", &entry.test.ground},
                                             std::pair{"dry_", &entry.test.dry},
                                             std::pair{"finished_", &entry.test.finished}}) {
            const Result<Lab<D50>> lab = table->lab(row, before);
            if (!lab) return lab.error();
            *colour = *lab;
        }
        if (table->has("water") && !table->text(row, "water").empty() && table->text(row, "water") != "no")
            return table->error(row, "water", "A preview with water is no coat test: it dries away.",
                                "Leave the line out, and read the wrap again when the finish has cured.");
        if (table->has("product")) entry.test.finish.product = table->text(row, "product");
        if (table->has("build")) {
            const Result<Build> build = table->word(row, "build", parse_build);
            if (!build) return build.error();
            entry.test.finish.build = *build;
        }
        if (table->has("coats") && !table->text(row, "coats").empty()) {
            const Result<double> coats = table->number(row, "coats", 1, max_coats);
            if (!coats) return coats.error();
            if (*coats != std::floor(*coats)) return table->error(row, "coats", "Coats are counted.", "Give a whole number, or leave it out.");
            entry.test.finish.coats = static_cast<int>(*coats);
        }
        if (table->has("source")) entry.source = table->text(row, "source");
        if (table->has("date")) entry.date = table->text(row, "date");
        out.push_back(std::move(entry));
    }
    return out;
}

Result<CoatTestFile> read_coat_tests(std::string_view text, const std::string& where) {
    Result<JsonDocument> document = read_format(text, where, coat_tests_format);
    if (!document) return document.error();
    const JsonCursor root = document->root();
    CoatTestFile file;
    const JsonCursor tests = root["tests"];
    const std::size_t n = tests.size(0, most_tests);
    for (std::size_t i = 0; i < n && !root.failed(); ++i) {
        const JsonCursor at = tests[i];
        CoatTestEntry entry;
        entry.test = {at["material"].word(parse_material),
                      at["schedule"].word(parse_schedule),
                      at["size_mm"].number(min_thread_mm, max_thread_mm),
                      lab_at(at["ground"]),
                      lab_at(at["dry"]),
                      lab_at(at["finished"]),
                      {},
                      {},
                      {},
                      {at.text_or_empty("product"), {}, 0}};
        if (const auto build = at.find("build")) entry.test.finish.build = build->word(parse_build);
        if (const auto coats = at.find("coats")) entry.test.finish.coats = coats->integer(1, max_coats);
        entry.test.ground_covariance = covariance_of(at, "ground_covariance", entry.test.ground);
        entry.test.dry_covariance = covariance_of(at, "dry_covariance", entry.test.dry);
        entry.test.finished_covariance = covariance_of(at, "finished_covariance", entry.test.finished);
        entry.source = at.text_or_empty("source");
        entry.date = at.text_or_empty("date");
        entry.unknown = at.unknown({"material", "schedule", "size_mm", "ground", "dry", "finished", "ground_covariance",
                                   "dry_covariance", "finished_covariance", "product", "build", "coats", "source", "date"});
        file.entries.push_back(std::move(entry));
    }
    file.unknown = root.unknown({"format", "version", "tests"});
    if (document->error()) return *document->error();
    return file;
}

Result<std::string> write_coat_tests(const CoatTestFile& file) {
    Json root = opening(coat_tests_format);
    add_unknown(root, file.unknown);
    root["tests"] = Json::array();
    for (const CoatTestEntry& e : file.entries) {
        Json out{{"material", name(e.test.material)}, {"schedule", name(e.test.schedule)}};
        out["size_mm"] = e.test.size_mm;
        out["ground"] = e.test.ground.vector();
        out["dry"] = e.test.dry.vector();
        out["finished"] = e.test.finished.vector();
        const auto covariance = [&](const char* field, const Matrix3& m) {
            if (m.m != Matrix3{}.m) out[field] = covariance_json(m);
        };
        covariance("ground_covariance", e.test.ground_covariance);
        covariance("dry_covariance", e.test.dry_covariance);
        covariance("finished_covariance", e.test.finished_covariance);
        if (!e.test.finish.product.empty()) out["product"] = e.test.finish.product;
        if (e.test.finish.build != Build::unsaid) out["build"] = name(e.test.finish.build);
        if (e.test.finish.coats > 0) out["coats"] = e.test.finish.coats;
        out["source"] = e.source;
        out["date"] = e.date;
        add_unknown(out, e.unknown);
        root["tests"].push_back(std::move(out));
    }
    return to_text(root);
}

Result<CoatTestFile> load_coat_tests(const std::filesystem::path& folder) {
    const std::filesystem::path path = folder / "coat-tests.json";
    const Result<std::string> text = read_file(path);
    if (!text && text.error().reason == Reason::not_found) return CoatTestFile{};
    if (!text) return text.error();
    return read_coat_tests(*text, path.string());
}

Result<CoatModel> load_coat_model(const std::filesystem::path& folder) {
    const Result<CoatTestFile> file = load_coat_tests(folder);
    if (!file) return file.error();
    return CoatModel(file->tests());
}

Status save_coat_tests(const std::filesystem::path& folder, const CoatTestFile& file) {
    const Result<std::string> text = write_coat_tests(file);
    if (!text) return text.error();
    return save_in_format(folder / "coat-tests.json", *text, coat_tests_format);
}

}  // namespace bindhue::capture

#include "shop/band_table.hpp"

#include <cmath>

#include "shop/csv.hpp"
#include "shop/grounds.hpp"

namespace bindhue::capture {
namespace {

Result<WantedBand> read_row(const CsvTable& table, std::size_t row) {
    WantedBand band;
    std::optional<Error> wrong;
    const auto take = [&](std::string_view column, double at_least, double at_most, double otherwise) {
        if (wrong || !table.has(column) || table.text(row, column).empty()) return otherwise;
        const Result<double> value = table.number(row, column, at_least, at_most);
        if (!value) wrong = value.error();
        return value ? *value : otherwise;
    };
    const auto whole = [&](std::string_view column, double at_most, double otherwise) {
        const double value = take(column, 1, at_most, otherwise);
        if (!wrong && value != std::floor(value))
            wrong = table.error(row, column, "This is no whole number.", "Write 1, 2 and so on.");
        return static_cast<int>(value);
    };
    Winding& w = band.winding;
    w.width_mm = take("width_mm", 0, 2000, 0);
    w.diameter_mm = take("diameter_mm", 0, 200, 0);
    w.pitch_mm = take("pitch_mm", 0.02, 5, 0);
    w.thread_mm = take("thread_mm", 0.05, 1, w.pitch_mm);
    w.underwrap_mm = take("underwrap_mm", 0, 1, 0);
    w.layers = whole("layers", 4, 1);
    band.count = whole("count", 1000, 1);
    band.replaces = whole("replaces", 10000, 0);
    if (wrong) return *wrong;
    if (const Status status = validate(w); !status)
        return table.error(row, table.has(status.error().where) ? status.error().where : "pitch_mm",
                           status.error().what, status.error().mend);
    if (table.has("spool")) band.spool = table.text(row, "spool");
    if (table.has("ground") && !table.text(row, "ground").empty()) {
        band.ground = table.text(row, "ground");
        if (const Status known = check_ground(band.ground); !known) return table.error(row, "ground", known.error().what, known.error().mend);
    }
    if (table.has("schedule") && !table.text(row, "schedule").empty()) {
        const Result<Schedule> schedule = table.word(row, "schedule", parse_schedule);
        if (!schedule) return schedule.error();
        band.schedule = *schedule;
    }
    return band;
}

}  // namespace

Result<std::vector<WantedBand>> read_band_table(std::string_view text, const std::string& where) {
    const Result<CsvTable> table = read_csv(text, where);
    if (!table) return table.error();
    if (const Status complete = table->require({"width_mm", "diameter_mm", "pitch_mm"}); !complete)
        return complete.error();
    std::vector<WantedBand> out;
    for (std::size_t row = 0; row < table->rows(); ++row) {
        Result<WantedBand> band = read_row(*table, row);
        if (!band) return band.error();
        out.push_back(std::move(*band));
    }
    return out;
}

}  // namespace bindhue::capture

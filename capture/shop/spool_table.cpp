#include "shop/spool_table.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <iterator>
#include <numbers>
#include <optional>
#include <unordered_map>

#include "colour/adaptation.hpp"
#include "shop/csv.hpp"
#include "shop/json_text.hpp"
#include "shop/same_reading.hpp"

namespace bindhue::capture {
namespace {

// Names of a covariance's columns, and where they stand in it.
struct Term {
    std::string_view name;
    std::size_t row, column;
};
constexpr std::array<Term, 6> terms{{{"var_L", 0, 0},
                                     {"var_a", 1, 1},
                                     {"var_b", 2, 2},
                                     {"cov_La", 0, 1},
                                     {"cov_Lb", 0, 2},
                                     {"cov_ab", 1, 2}}};

// Reads fields until one is wrong, and keeps that error.
class Line {
  public:
    Line(const CsvTable& table, std::size_t row) : table_(table), row_(row) {}

    const std::optional<Error>& error() const { return error_; }
    void fail(std::string_view column, std::string what, std::string mend) {
        if (!error_) error_ = table_.error(row_, column, std::move(what), std::move(mend));
    }
    bool has(std::string_view column) const { return table_.has(column) && !table_.text(row_, column).empty(); }
    std::string text(std::string_view column) const { return has(column) ? table_.text(row_, column) : ""; }
    double number(std::string_view column, double at_least, double at_most) {
        const Result<double> value = table_.number(row_, column, at_least, at_most);
        if (!value && !error_) error_ = value.error();
        return value ? *value : 0;
    }

  private:
    const CsvTable& table_;
    std::size_t row_;
    std::optional<Error> error_;
};

Lab<D50> from_screen(Line& line) {
    const std::string text = line.text("hex");
    unsigned value = 0;
    const bool hash = text.size() == 7 && text[0] == '#';
    const char* end = text.data() + text.size();
    const auto [stop, code] = std::from_chars(text.data() + (hash ? 1 : 0), end, value, 16);
    if (!hash || code != std::errc() || stop != end) {
        line.fail("hex", std::string("\"").append(text, 0, 20).append("\" is no colour of a screen."), "Write six hexadecimal digits after #.");
        return {};
    }
    const auto channel = [&](unsigned shift) { return static_cast<double>((value >> shift) & 255U) / 255; };
    return to_lab(adapt<D50>(to_xyz(to_linear(EncodedSrgb{channel(16), channel(8), channel(0)}))));
}

Lab<D50> colour_of(Line& line, bool& screen) {
    // Also where it is not needed: a line with something wrong in it is not taken.
    const Lab<D50> shown = line.has("hex") ? from_screen(line) : Lab<D50>{};
    if (line.has("a") || line.has("b"))
        return {line.number("L", 0, 110), line.number("a", -200, 200), line.number("b", -200, 200)};
    if (line.has("C") || line.has("h")) {
        const double h = line.number("h", -360, 360) * std::numbers::pi / 180, chroma = line.number("C", 0, 200);
        return {line.number("L", 0, 110), chroma * std::cos(h), chroma * std::sin(h)};
    }
    if (line.has("hex")) {
        screen = true;
        return shown;
    }
    line.fail(line.has("L") ? "a" : "L", "The line has no whole colour.", "Give L, a and b, or L, C and h, or hex.");
    return {};
}

std::string column_of(const Term& term, std::string_view before) { return std::string(before).append(term.name); }

// None if the line says nothing of it. Variances are wanted all three, covariances are zero if not given.
std::optional<Matrix3> covariance_of(Line& line, std::string_view before) {
    if (std::none_of(terms.begin(), terms.end(), [&](const Term& t) { return line.has(column_of(t, before)); }))
        return std::nullopt;
    Matrix3 out;
    for (const Term& t : terms) {
        const std::string column = column_of(t, before);
        if (t.row == t.column || line.has(column))
            out(t.row, t.column) = out(t.column, t.row) = line.number(column, -1e6, 1e6);
    }
    return out;
}

// A spool has one name, size, lot and length left; a line may be silent about them. Gives the column where the two disagree, or nothing.
std::string_view take_over(SpoolEntry& known, const SpoolEntry& entry) {
    const auto agree = [](auto& old, const auto& now, const auto& unsaid) {
        if (old == unsaid) old = now;
        return now == unsaid || old == now;
    };
    if (known.spool.material != entry.spool.material) return "material";
    if (known.spool.size_mm != entry.spool.size_mm) return "size_mm";
    if (!agree(known.spool.name, entry.spool.name, "")) return "name";
    if (!agree(known.spool.size, entry.spool.size, "")) return "size";
    if (!agree(known.spool.lot, entry.spool.lot, "")) return "lot";
    if (!agree(known.metres_left, entry.metres_left, std::nullopt)) return "metres_left";
    if (!agree(known.spool.opacity, entry.spool.opacity, std::nullopt)) return "opacity";
    return "";
}

bool is_past(Line& line) {
    const std::string said = line.text("past");
    if (!said.empty() && said != "yes" && said != "no")
        line.fail("past", "Whether the reading is past is said by yes or no.", "Write yes, no or nothing.");
    return said == "yes";
}

// The spool and its one reading.
SpoolEntry entry_of(Line& line, bool& screen) {
    SpoolEntry entry;
    Spool& spool = entry.spool;
    spool.code = line.text("code");
    if (spool.code.empty()) line.fail("code", "The spool has no code.", "Give each spool a code of its own.");
    const Result<Material> material = parse_material(line.text("material"));
    if (material)
        spool.material = *material;
    else
        line.fail("material", material.error().what, material.error().mend);
    spool.size_mm = line.number("size_mm", min_thread_mm, max_thread_mm);
    spool.name = line.text("name");
    spool.size = line.text("size");
    spool.lot = line.text("lot");
    if (line.has("metres_left")) entry.metres_left = line.number("metres_left", 0, 1e6);
    if (line.has("opacity")) spool.opacity = LayerOpacity{line.number("opacity", 0.01, 100), line.number("opacity_log_sd", 0.01, 3)};
    Reading reading;
    bool from_hex = false;
    reading.lab = colour_of(line, from_hex);
    screen = screen || from_hex;
    reading.context = {line.text("camera"), line.text("card"), line.text("light")};
    if (const auto said = covariance_of(line, "")) {
        reading.covariance = *said;
    } else {
        const double sd = line.has("sd") ? line.number("sd", 0, 100) : from_hex ? screen_deviation : unsaid_deviation;
        reading.covariance = Matrix3::diagonal({sd * sd, sd * sd, sd * sd});
    }
    reading.shared = covariance_of(line, "shared_").value_or(Matrix3{});
    if (const Status sound = validate(reading); !sound)
        line.fail(line.has("var_L") ? "var_L" : "L", sound.error().what, sound.error().mend);
    ReadingNote note{line.text("source"), line.text("date"), ""};
    if (is_past(line)) {
        entry.past.push_back({std::move(reading), std::move(note)});
    } else {
        spool.readings.push_back(std::move(reading));
        entry.notes.push_back(std::move(note));
    }
    return entry;
}

bool is_known(std::string_view column) {
    constexpr std::array<std::string_view, 22> others{"code", "name", "material", "size", "size_mm", "lot",  "metres_left", "opacity", "opacity_log_sd",
                                                      "L",    "a",    "b",        "C",    "h",       "hex",  "sd",
                                                      "camera", "card", "light",  "source", "date",  "past"};
    return std::find(others.begin(), others.end(), column) != others.end() ||
           std::any_of(terms.begin(), terms.end(), [&](const Term& t) { return column == t.name || column == column_of(t, "shared_"); });
}

std::string shortest(double value) {
    std::array<char, 400> text{};  // of 5e-324, without an exponent, it fills 326
    const auto [end, code] = std::to_chars(text.data(), text.data() + text.size(), value, std::chars_format::fixed);
    return {text.data(), end};
}

std::string in_quotes(const std::string& text) {
    if (text.find_first_of(",;\t\"\r\n") == std::string::npos) return text;
    std::string out = "\"";
    for (const char c : text) out.append(c == '"' ? 2 : 1, c);
    return out + '"';
}

}  // namespace

Result<SpoolTable> read_spool_table(std::string_view text, const std::string& where, const SpoolDefaults& defaults) {
    Result<CsvTable> table = read_csv(text, where);
    if (!table) return table.error();
    return read_spool_tables({std::move(*table)}, where, defaults);
}

Result<SpoolTable> read_spool_tables(std::vector<CsvTable> tables, const std::string& where, const SpoolDefaults& defaults) {
    SpoolTable out;
    std::unordered_map<std::string, std::size_t> places;
    bool screen = false;
    for (CsvTable& table : tables) {
        if (defaults.material && !table.has("material")) table.add("material", std::string(name(*defaults.material)), "material");
        if (defaults.size_mm && !table.has("size_mm")) table.add("size_mm", shortest(*defaults.size_mm), "size_mm");
        if (defaults.sd && !table.has("sd")) table.add("sd", shortest(*defaults.sd), "sd");
        if (const Status complete = table.require({"code", "material", "size_mm"}); !complete) return complete.error();
        for (std::size_t row = 0; row < table.rows(); ++row) {
            Line line(table, row);
            SpoolEntry entry = entry_of(line, screen);
            if (line.error()) return *line.error();
            const auto [place, fresh] = places.emplace(entry.spool.code, out.entries.size());
            if (fresh) {
                out.entries.push_back(std::move(entry));
                continue;
            }
            SpoolEntry& known = out.entries[place->second];
            if (const std::string_view column = take_over(known, entry); !column.empty())
                return table.error(row, column, "An earlier line of spool " + entry.spool.code + " says otherwise.",
                                   "Write the same on each line of a spool; another lot, material or size is another spool with a code of its own.");
            std::move(entry.spool.readings.begin(), entry.spool.readings.end(), std::back_inserter(known.spool.readings));
            std::move(entry.notes.begin(), entry.notes.end(), std::back_inserter(known.notes));
            std::move(entry.past.begin(), entry.past.end(), std::back_inserter(known.past));
        }
        for (const std::string& column : table.columns()) {
            const std::string warning = "the column \"" + column + "\" is not known, and is left out";
            if (!is_known(column) && std::find(out.warnings.begin(), out.warnings.end(), warning) == out.warnings.end())
                out.warnings.push_back(warning);
        }
    }
    for (const auto& [code, place] : places)
        if (out.entries[place].spool.readings.empty())
            return Error{Reason::bad_value, "All readings of spool " + code + " are past.", where,
                         "Leave the column past empty in the line of its newest reading."};
    if (screen)
        out.warnings.push_back("hex colours are no measurements: they are taken give or take " + shortest(screen_deviation) +
                               " in each of L, a and b");
    return out;
}

SpoolRows spool_rows(const SpoolFile& file) {
    SpoolRows out;
    out.columns = {{"code"}, {"name"}, {"material"}, {"size"}, {"size_mm", true}, {"lot"}, {"metres_left", true}, {"opacity", true}, {"opacity_log_sd", true},
                   {"L", true}, {"a", true}, {"b", true}};
    for (const std::string_view before : {"", "shared_"})
        for (const Term& t : terms) out.columns.push_back({column_of(t, before), true});
    for (const char* last : {"camera", "card", "light", "source", "date", "past"}) out.columns.push_back({last});
    const auto add = [&](const SpoolEntry& entry, const Reading& r, const ReadingNote& note, const char* past) {
        const Spool& s = entry.spool;
        std::vector<std::string> fields{s.code,
                                        s.name,
                                        std::string(name(s.material)),
                                        s.size,
                                        shortest(s.size_mm),
                                        s.lot,
                                        entry.metres_left ? shortest(*entry.metres_left) : "",
                                        s.opacity ? shortest(s.opacity->scattering) : "",
                                        s.opacity ? shortest(s.opacity->log_sd) : ""};
        for (const double v : r.lab.vector()) fields.push_back(shortest(v));
        for (const Matrix3* m : {&r.covariance, &r.shared})
            for (const Term& t : terms) fields.push_back(shortest((*m)(t.row, t.column)));
        fields.insert(fields.end(), {r.context.camera, r.context.card, r.context.light, note.source, note.date, past});
        out.rows.push_back(std::move(fields));
    };
    for (const SpoolEntry& entry : file.entries) {
        for (std::size_t i = 0; i < entry.spool.readings.size(); ++i)
            add(entry, entry.spool.readings[i], i < entry.notes.size() ? entry.notes[i] : ReadingNote{}, "");
        for (const NotedReading& past : entry.past) add(entry, past.reading, past.note, "yes");
    }
    return out;
}

std::string write_spool_table(const SpoolFile& file) {
    const SpoolRows table = spool_rows(file);
    std::string out;
    for (const SpoolRows::Column& column : table.columns) out.append(out.empty() ? "" : ",").append(column.name);
    out += '\n';
    for (const std::vector<std::string>& row : table.rows) {
        for (std::size_t k = 0; k < row.size(); ++k) out.append(k > 0 ? "," : "").append(in_quotes(row[k]));
        out += '\n';
    }
    return out;
}

Result<Merged> merge(SpoolFile& rack, const SpoolFile& other, const std::string& where) {
    SpoolFile joined = rack;
    if (joined.note.empty()) joined.note = other.note;
    joined.unknown = joined_unknown(joined.unknown, other.unknown);
    std::unordered_map<std::string, std::size_t> places;
    for (std::size_t i = 0; i < joined.entries.size(); ++i) places.emplace(joined.entries[i].spool.code, i);
    Merged out;
    for (const SpoolEntry& entry : other.entries) {
        const auto place = places.find(entry.spool.code);
        if (place == places.end()) {
            joined.entries.push_back(entry);
            ++out.new_spools;
            out.new_readings += entry.spool.readings.size() + entry.past.size();
            continue;
        }
        SpoolEntry& known = joined.entries[place->second];
        const bool other_lot = !known.spool.lot.empty() && !entry.spool.lot.empty() && known.spool.lot != entry.spool.lot;
        if (known.spool.material != entry.spool.material || known.spool.size_mm != entry.spool.size_mm || other_lot)
            return Error{Reason::bad_value,
                         "Spool " + entry.spool.code + " is in the rack in another lot, material or thickness.", where,
                         "Another lot, material or size is another spool: give it another code."};
        if (entry.metres_left) known.metres_left = entry.metres_left;
        for (std::string Spool::*said : {&Spool::name, &Spool::size, &Spool::lot})
            if ((known.spool.*said).empty()) known.spool.*said = entry.spool.*said;
        known.unknown = joined_unknown(known.unknown, entry.unknown);
        known.notes.resize(known.spool.readings.size());
        const auto is_there = [&](const Reading& reading) {
            return std::any_of(known.spool.readings.begin(), known.spool.readings.end(), [&](const Reading& r) { return same_reading(r, reading); }) ||
                   std::any_of(known.past.begin(), known.past.end(), [&](const NotedReading& r) { return same_reading(r.reading, reading); });
        };
        for (std::size_t i = 0; i < entry.spool.readings.size(); ++i) {
            if (is_there(entry.spool.readings[i])) {
                ++out.known;
                continue;
            }
            known.spool.readings.push_back(entry.spool.readings[i]);
            known.notes.push_back(i < entry.notes.size() ? entry.notes[i] : ReadingNote{});
            ++out.new_readings;
        }
        for (const NotedReading& past : entry.past) {
            if (is_there(past.reading)) {
                ++out.known;
                continue;
            }
            known.past.push_back(past);
            ++out.new_readings;
        }
    }
    rack = std::move(joined);
    return out;
}

}  // namespace bindhue::capture

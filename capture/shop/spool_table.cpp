#include "shop/spool_table.hpp"

#include <array>
#include <charconv>
#include <cmath>
#include <numbers>
#include <unordered_map>

#include "colour/adaptation.hpp"
#include "shop/csv.hpp"

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
    double number_or_zero(const std::string& column, double at_least, double at_most) {
        return has(column) ? number(column, at_least, at_most) : 0;
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
    if (line.has("L") && line.has("a"))
        return {line.number("L", 0, 110), line.number("a", -200, 200), line.number("b", -200, 200)};
    if (line.has("L") && line.has("C")) {
        const double h = line.number("h", -360, 360) * std::numbers::pi / 180, chroma = line.number("C", 0, 200);
        return {line.number("L", 0, 110), chroma * std::cos(h), chroma * std::sin(h)};
    }
    if (line.has("hex")) {
        screen = true;
        return from_screen(line);
    }
    line.fail("L", "The line has no colour.", "Give L, a and b, or L, C and h, or hex.");
    return {};
}

Matrix3 covariance_of(Line& line, const std::string& before) {
    Matrix3 out;
    for (const Term& t : terms)
        out(t.row, t.column) = out(t.column, t.row) = line.number_or_zero(before + std::string(t.name), -1e6, 1e6);
    return out;
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
    Reading reading;
    bool from_hex = false;
    reading.lab = colour_of(line, from_hex);
    screen = screen || from_hex;
    reading.context = {line.text("camera"), line.text("card"), line.text("light")};
    if (line.has("var_L")) {
        reading.covariance = covariance_of(line, "");
        reading.shared = covariance_of(line, "shared_");
    } else {
        const double sd = line.has("sd") ? line.number("sd", 0, 100) : from_hex ? screen_deviation : unsaid_deviation;
        reading.covariance = Matrix3::diagonal({sd * sd, sd * sd, sd * sd});
    }
    if (const Status sound = validate(reading); !sound)
        line.fail(line.has("var_L") ? "var_L" : "L", sound.error().what, sound.error().mend);
    spool.readings.push_back(std::move(reading));
    entry.notes.push_back({line.text("source"), line.text("date"), ""});
    return entry;
}

bool same(const Reading& one, const Reading& other) {
    return one.lab.vector() == other.lab.vector() && one.covariance.m == other.covariance.m &&
           one.shared.m == other.shared.m && one.context == other.context;
}

std::string shortest(double value) {
    std::array<char, 32> text{};
    const auto [end, code] = std::to_chars(text.data(), text.data() + text.size(), value);
    return {text.data(), end};
}

std::string in_quotes(const std::string& text) {
    if (text.find_first_of(",;\t\"\r\n") == std::string::npos) return text;
    std::string out = "\"";
    for (const char c : text) out.append(c == '"' ? 2 : 1, c);
    return out + '"';
}

}  // namespace

Result<SpoolTable> read_spool_table(std::string_view text, const std::string& where) {
    const Result<CsvTable> table = read_csv(text, where);
    if (!table) return table.error();
    if (const Status complete = table->require({"code", "material", "size_mm"}); !complete) return complete.error();
    SpoolTable out;
    std::unordered_map<std::string, std::size_t> places;
    bool screen = false;
    for (std::size_t row = 0; row < table->rows(); ++row) {
        Line line(*table, row);
        SpoolEntry entry = entry_of(line, screen);
        if (line.error()) return *line.error();
        const auto [place, fresh] = places.emplace(entry.spool.code, out.entries.size());
        if (fresh) {
            out.entries.push_back(std::move(entry));
            continue;
        }
        SpoolEntry& known = out.entries[place->second];
        if (known.spool.material != entry.spool.material || known.spool.size_mm != entry.spool.size_mm)
            return table->error(row, "code", "Spool " + entry.spool.code + " is there twice, in another material or thickness.",
                                "Another lot, material or size is another spool: give it another code.");
        known.spool.readings.push_back(std::move(entry.spool.readings.front()));
        known.notes.push_back(std::move(entry.notes.front()));
    }
    if (screen)
        out.warnings.push_back("hex colours are no measurements: they are taken give or take " + shortest(screen_deviation) +
                               " in each of L, a and b");
    return out;
}

std::string write_spool_table(const SpoolFile& file) {
    std::string out = "code,name,material,size,size_mm,lot,metres_left,L,a,b";
    for (const std::string before : {"", "shared_"})
        for (const Term& t : terms) out.append(",").append(before).append(t.name);
    out += ",camera,card,light,source,date\n";
    for (const SpoolEntry& entry : file.entries)
        for (std::size_t i = 0; i < entry.spool.readings.size(); ++i) {
            const Spool& s = entry.spool;
            const Reading& r = s.readings[i];
            const ReadingNote note = i < entry.notes.size() ? entry.notes[i] : ReadingNote{};
            std::vector<std::string> fields{s.code,
                                            s.name,
                                            std::string(name(s.material)),
                                            s.size,
                                            shortest(s.size_mm),
                                            s.lot,
                                            entry.metres_left ? shortest(*entry.metres_left) : ""};
            for (const double v : r.lab.vector()) fields.push_back(shortest(v));
            for (const Matrix3* m : {&r.covariance, &r.shared})
                for (const Term& t : terms) fields.push_back(shortest((*m)(t.row, t.column)));
            fields.insert(fields.end(), {r.context.camera, r.context.card, r.context.light, note.source, note.date});
            for (std::size_t k = 0; k < fields.size(); ++k) out.append(k > 0 ? "," : "").append(in_quotes(fields[k]));
            out += '\n';
        }
    return out;
}

Result<Merged> merge(SpoolFile& rack, const std::vector<SpoolEntry>& entries, const std::string& where) {
    SpoolFile joined = rack;
    std::unordered_map<std::string, std::size_t> places;
    for (std::size_t i = 0; i < joined.entries.size(); ++i) places.emplace(joined.entries[i].spool.code, i);
    Merged out;
    for (const SpoolEntry& entry : entries) {
        const auto place = places.find(entry.spool.code);
        if (place == places.end()) {
            joined.entries.push_back(entry);
            ++out.new_spools;
            out.new_readings += entry.spool.readings.size();
            continue;
        }
        SpoolEntry& known = joined.entries[place->second];
        if (known.spool.material != entry.spool.material || known.spool.size_mm != entry.spool.size_mm)
            return Error{Reason::bad_value,
                         "Spool " + entry.spool.code + " is in the rack in another material or thickness.", where,
                         "Another lot, material or size is another spool: give it another code."};
        if (entry.metres_left) known.metres_left = entry.metres_left;
        known.notes.resize(known.spool.readings.size());
        for (std::size_t i = 0; i < entry.spool.readings.size(); ++i) {
            bool there = false;
            for (const Reading& r : known.spool.readings) there = there || same(r, entry.spool.readings[i]);
            if (there) {
                ++out.known;
                continue;
            }
            known.spool.readings.push_back(entry.spool.readings[i]);
            known.notes.push_back(i < entry.notes.size() ? entry.notes[i] : ReadingNote{});
            ++out.new_readings;
        }
    }
    rack = std::move(joined);
    return out;
}

}  // namespace bindhue::capture

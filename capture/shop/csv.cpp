#include "shop/csv.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <cstdio>

#include "shop/json_text.hpp"

namespace bindhue::capture {
namespace {

constexpr std::size_t most_columns = 1000;
constexpr std::size_t most_fields = 8'000'000;  // in all: a rack of 200,000 readings has 5,400,000; this many may take 700 MB

std::string_view trimmed(std::string_view text) {
    const auto first = text.find_first_not_of(" \t");
    if (first == std::string_view::npos) return {};
    return text.substr(first, text.find_last_not_of(" \t") - first + 1);
}

std::string quoted(const std::string& field) {
    return std::string(1, '"').append(field.substr(0, 40)).append("\"");
}

// What separates the names in the heading: a spreadsheet of a country with decimal commas writes semicolons.
char separator_of(std::string_view text) {
    const auto start = std::min(text.find_first_not_of(" \t\r\n"), text.size());
    const std::string_view heading = text.substr(start, text.find_first_of("\r\n", start) - start);
    if (heading.find(',') != std::string_view::npos) return ',';
    return heading.find(';') != std::string_view::npos ? ';' : heading.find('\t') != std::string_view::npos ? '\t' : ',';
}

bool is_utf8(const std::string& text) {
    const bool ascii = std::all_of(text.begin(), text.end(), [](char c) { return static_cast<unsigned char>(c) < 0x80; });
    return ascii || to_text(Json(text));
}

// One field at a time.
class Scanner {
  public:
    Scanner(std::string_view text, char separator) : text_(text), separator_(separator) {}

    bool at_end() const { return at_ == text_.size(); }
    std::size_t line() const { return line_; }

    // Reads a field and what ends it; `last` tells whether that was the end of the line. Gives what is wrong,
    // or nothing.
    std::optional<std::string> field(std::string& out, bool& last) {
        out.clear();
        const bool quoted = !at_end() && text_[at_] == '"';
        if (quoted) {
            ++at_;
            for (;; ++at_) {
                if (at_end()) return "A quoted field is not closed.";
                if (text_[at_] == '"') {
                    if (at_ + 1 < text_.size() && text_[at_ + 1] == '"')
                        ++at_;
                    else
                        break;
                }
                const bool pair = text_.substr(at_, 2) == "\r\n";
                if (text_[at_] == '\n' || (text_[at_] == '\r' && !pair)) ++line_;
                out += text_[at_];
            }
            ++at_;
        } else {
            const std::size_t end = std::min(text_.find_first_of(std::string{separator_, '\r', '\n'}, at_), text_.size());
            out.assign(text_.substr(at_, end - at_));
            at_ = end;
            if (out.find('"') != std::string::npos)
                return "A quote stands inside a field that is not quoted.";
        }
        last = true;
        if (at_end()) return std::nullopt;
        if (text_[at_] == separator_) {
            last = false;
            ++at_;
            return std::nullopt;
        }
        if (text_[at_] != '\r' && text_[at_] != '\n')
            return "Something follows the closing quote of a field.";
        ++line_;
        at_ += text_.substr(at_, 2) == "\r\n" ? 2 : 1;
        return std::nullopt;
    }

  private:
    std::string_view text_;
    char separator_;
    std::size_t at_ = 0, line_ = 1;
};

}  // namespace

Result<CsvTable> read_csv(std::string_view text, const std::string& where) {
    const auto wrong = [&](std::size_t line, std::string what, std::string mend) {
        return Error{Reason::bad_format, std::move(what), where + ": line " + std::to_string(line),
                     std::move(mend)};
    };
    if (text.substr(0, 3) == "\xEF\xBB\xBF") text.remove_prefix(3);
    if (const auto nul = text.find('\0'); nul != std::string_view::npos)
        return wrong(1 + static_cast<std::size_t>(std::count(text.begin(), text.begin() + static_cast<std::ptrdiff_t>(nul), '\n')),
                     "This is not plain text.", "Save the table as CSV in UTF-8.");

    CsvTable table;
    table.where_ = where;
    const char separator = separator_of(text);
    table.decimal_comma_ = separator != ',';
    Scanner scanner(text, separator);
    std::size_t fields = 0;
    while (!scanner.at_end()) {
        CsvTable::Row row{scanner.line(), {}};
        for (bool last = false; !last;) {
            std::string field;
            if (const auto what = scanner.field(field, last))
                return wrong(row.line, *what, "Put the field in quotes and double each quote inside it.");
            row.fields.push_back(std::move(field));
            if (row.fields.size() > most_columns)
                return wrong(row.line, "There are more than 1000 columns.",
                             "Check that this is the right file.");
        }
        for (std::size_t i = 0; i < row.fields.size(); ++i)
            if (!is_utf8(row.fields[i]))
                return wrong(row.line, "Field " + std::to_string(i + 1) + " is not valid UTF-8.", "Save the table as CSV in UTF-8.");
        if (row.fields.size() == 1 && trimmed(row.fields[0]).empty()) continue;
        if (!table.heading_.fields.empty()) {
            const std::size_t wanted = table.heading_.fields.size();
            if (row.fields.size() != wanted)
                return wrong(row.line,
                             "The line has " + std::to_string(row.fields.size()) + " fields, the heading " +
                                 std::to_string(wanted) + ".",
                             "Separate fields as in the heading; quote texts that hold what separates, and numbers with a "
                             "decimal comma where commas separate.");
            fields += wanted;
            if (fields > most_fields)
                return wrong(row.line, "The table has more than 8,000,000 fields.", "Divide it, or check that this is the right file.");
            table.rows_.push_back(std::move(row));
            continue;
        }
        for (std::string& name : row.fields) name = std::string(trimmed(name));
        for (std::size_t i = 0; i < row.fields.size(); ++i)
            for (std::size_t k = 0; k < i; ++k)
                if (row.fields[i] == row.fields[k] && !row.fields[i].empty())
                    return wrong(row.line, "The column \"" + row.fields[i] + "\" is there twice.",
                                 "Leave one of the two.");
        table.heading_ = std::move(row);
    }
    if (table.rows_.empty())
        return wrong(scanner.line(), "The table has no line under its heading.",
                     "Give a heading line and at least one line of values.");
    return table;
}

CsvTable::CsvTable(std::string where, Row heading, std::vector<Row> rows)
    : where_(std::move(where)), heading_(std::move(heading)), rows_(std::move(rows)) {}

void CsvTable::rename(std::string_view column, std::string name) {
    std::string& known = heading_.fields[*index(column)];
    told_.emplace_back(name, known);
    known = std::move(name);
}

void CsvTable::drop(std::string_view column) {
    const auto place = static_cast<std::ptrdiff_t>(*index(column));
    heading_.fields.erase(heading_.fields.begin() + place);
    for (Row& row : rows_) row.fields.erase(row.fields.begin() + place);
}

void CsvTable::add(std::string name, const std::string& value, std::string told) {
    add(std::move(name), std::vector<std::string>(rows(), value), std::move(told));
}

void CsvTable::add(std::string name, const std::vector<std::string>& values, std::string told) {
    told_.emplace_back(name, std::move(told));
    heading_.fields.push_back(std::move(name));
    for (std::size_t row = 0; row < rows(); ++row) rows_[row].fields.push_back(values[row]);
}

std::optional<std::size_t> CsvTable::index(std::string_view column) const {
    const auto& names = heading_.fields;
    const auto found = std::find(names.begin(), names.end(), column);
    if (found == names.end()) return std::nullopt;
    return static_cast<std::size_t>(found - names.begin());
}

Status CsvTable::require(std::initializer_list<std::string_view> columns) const {
    std::string missing, all;
    for (const std::string_view column : columns) {
        all.append(all.empty() ? "" : ",").append(column);
        if (!has(column)) missing.append(missing.empty() ? "" : ", ").append(column);
    }
    if (missing.empty()) return ok();
    return Error{Reason::bad_format, "The heading lacks " + missing + ".",
                 where_ + ": line " + std::to_string(heading_.line),
                 "Give the columns " + all + " in any order, written exactly so."};
}

const std::string& CsvTable::text(std::size_t row, std::string_view column) const {
    return rows_[row].fields[*index(column)];
}

Result<Lab<D50>> CsvTable::lab(std::size_t row, const std::string& before) const {
    const Result<double> L = number(row, before + "L", 0, 110);
    if (!L) return L.error();
    const Result<double> a = number(row, before + "a", -200, 200);
    if (!a) return a.error();
    const Result<double> b = number(row, before + "b", -200, 200);
    if (!b) return b.error();
    return Lab<D50>{*L, *a, *b};
}

Error CsvTable::error(std::size_t row, std::string_view column, std::string what, std::string mend) const {
    const auto other = std::find_if(told_.begin(), told_.end(), [&](const auto& name) { return name.first == column; });
    return {Reason::bad_value, std::move(what),
            where_ + ": line " + std::to_string(rows_[row].line) + ", column " +
                (other == told_.end() ? std::string(column) : other->second),
            std::move(mend)};
}

Result<double> CsvTable::number(std::size_t row, std::string_view column, double at_least,
                                double at_most) const {
    if (!has(column)) return error(row, column, "There is no such column.", "Give it in the heading and in each line.");
    const std::string& field = text(row, column);
    std::string point = field;
    if (decimal_comma_ && std::count(point.begin(), point.end(), ',') == 1 && point.find('.') == std::string::npos)
        point[point.find(',')] = '.';
    std::string_view digits = trimmed(point);
    if (digits.size() > 1 && digits[0] == '+' && digits[1] != '-') digits.remove_prefix(1);
    double value = 0;
    const auto [end, code] = std::from_chars(digits.data(), digits.data() + digits.size(), value);
    if (digits.empty()) return error(row, column, "There is no number.", "Give one.");
    if (code != std::errc() || end != digits.data() + digits.size() || !std::isfinite(value))
        return error(row, column, quoted(field) + " is not a number.",
                     "Write a number with a decimal point and nothing else.");
    if (value < at_least || value > at_most) {
        char range[64];
        std::snprintf(range, sizeof range, "Give a number from %.6g to %.6g.", at_least, at_most);
        return error(row, column, std::string(digits.substr(0, 40)) + " is out of range.", range);
    }
    return value;
}

}  // namespace bindhue::capture

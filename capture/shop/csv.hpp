// Comma-separated tables with a heading line, as RFC 4180 writes them; where the heading is separated by semicolons or tabs instead, numbers
// may have a decimal comma.
//
// Accepted besides: a byte order mark, line ends of every kind, empty lines, blanks round a heading or a
// number. Names of columns are case-sensitive (B is blue, b a coordinate). Lines are counted from 1 as an
// editor does.
#pragma once

#include <cstddef>
#include <initializer_list>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "colour/result.hpp"
#include "colour/spaces.hpp"

namespace bindhue::capture {

class CsvTable {
  public:
    struct Row {
        std::size_t line = 0;
        std::vector<std::string> fields;
    };

    // A table that another format gave: `heading` names the columns, each row has as many fields.
    CsvTable(std::string where, Row heading, std::vector<Row> rows);

    // Another name for a column from here on; errors go on telling the one in the file. Precondition: has(column), not has(name).
    void rename(std::string_view column, std::string name);
    void drop(std::string_view column);  // precondition: has(column)
    // A column that is not in the file, with the same text in each row, or with one for each; errors tell it as `told`. Precondition:
    // not has(name), values.size() == rows().
    void add(std::string name, const std::string& value, std::string told);
    void add(std::string name, const std::vector<std::string>& values, std::string told);

    std::size_t rows() const { return rows_.size(); }
    const std::vector<std::string>& columns() const { return heading_.fields; }
    bool has(std::string_view column) const { return index(column).has_value(); }
    Status require(std::initializer_list<std::string_view> columns) const;

    // Preconditions: row < rows(), has(column).
    const std::string& text(std::size_t row, std::string_view column) const;
    // Precondition: row < rows(). Errors: bad_value (also: there is no such column).
    Result<double> number(std::size_t row, std::string_view column, double at_least, double at_most) const;

    // From the columns L, a and b, or ground_L, ground_a and ground_b if `before` is ground_. Precondition and errors as number().
    Result<Lab<D50>> lab(std::size_t row, const std::string& before = "") const;
    // One of the words that `parse` knows; its error is told with this place. Preconditions as text().
    template <class T>
    Result<T> word(std::size_t row, std::string_view column, Result<T> (*parse)(std::string_view)) const {
        Result<T> value = parse(text(row, column));
        if (!value) return error(row, column, value.error().what, value.error().mend);
        return value;
    }

    // An error at this place.
    Error error(std::size_t row, std::string_view column, std::string what, std::string mend) const;

  private:
    friend Result<CsvTable> read_csv(std::string_view text, const std::string& where);
    CsvTable() = default;

    std::optional<std::size_t> index(std::string_view column) const;

    std::string where_;
    bool decimal_comma_ = false;
    Row heading_;
    std::vector<Row> rows_;
    std::vector<std::pair<std::string, std::string>> told_;  // columns whose name in errors is another
};

// `where` names the text in errors, as a rule by its path. Errors: bad_format, with the line (no text in
// UTF-8; no line under the heading).
Result<CsvTable> read_csv(std::string_view text, const std::string& where);

}  // namespace bindhue::capture

// Reading JSON that anybody may have written: what is wrong and where, without an exception leaving this
// file.
#pragma once

#include <cstddef>
#include <cstdint>
#include <initializer_list>
#include <nlohmann/json.hpp>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "colour/result.hpp"

namespace bindhue::capture {

using Json = nlohmann::ordered_json;  // keeps the order in which a person wrote the fields

inline constexpr std::size_t largest_json_bytes = std::size_t{64} << 20;
inline constexpr std::size_t most_json_values = 8'000'000;  // a rack of 200,000 spools has 5,000,000; this many take 400 MB
inline constexpr int deepest_json = 32;  // nested arrays and objects

// Whether a text that may be a table as well begins as a JSON object does.
bool looks_like_json(std::string_view text);

class JsonCursor;

// A text as read: what stands in it, where it comes from, and the first thing found wrong with it. Only to be read: it holds few large pieces
// of memory, where Json has one a value and takes twice as long.
class JsonDocument {
  public:
    // Refuses a field given twice, and what is no JSON. `where` names the text in errors.
    static Result<JsonDocument> parse(std::string_view text, std::string where);

    // Neither moves nor ends while a cursor is in use.
    JsonCursor root();
    const std::optional<Error>& error() const { return error_; }
    const std::string& where() const { return where_; }
    Json to_json() const { return json_of(root_); }

  private:
    friend class JsonCursor;
    friend class JsonBuilder;

    // Characters in letters_, or values in values_.
    struct Span {
        std::uint32_t at = 0, size = 0;
    };
    struct Text : Span {};
    struct List : Span {};
    struct Object : Span {};
    struct Value {
        Span name;  // of the field that it is, if it is one
        std::variant<std::nullptr_t, bool, std::int64_t, std::uint64_t, double, Text, List, Object> what;
    };

    std::string_view letters(Span span) const { return std::string_view(letters_).substr(span.at, span.size); }
    std::span<const Value> inside(Span span) const { return std::span(values_).subspan(span.at, span.size); }
    Json json_of(const Value& value) const;
    bool path_to(const Value* wanted, const Value& from, std::string& path) const;

    std::string where_, letters_;
    std::vector<Value> values_;  // what an array or object holds stands together
    Value root_;
    std::optional<Error> error_;
};

// To be read and changed; else as JsonDocument::parse.
Result<Json> parse_json(std::string_view text, const std::string& where);

// One line for short things, so that a person can read and compare the file. Error: bad_value if a text is
// not UTF-8.
Result<std::string> to_text(const Json& json);

// A place in a document being read. The first thing wrong is kept and what follows reads as zero or empty, so
// that a format is read straight down and asked once, at the end, whether it went well. The document must
// outlive the cursor.
class JsonCursor {
  public:
    JsonCursor operator[](std::string_view field) const;                // must be there
    std::optional<JsonCursor> find(std::string_view field) const;       // absent and null are alike
    std::size_t size(std::size_t at_least, std::size_t at_most) const;  // of an array; 0 if it is none
    JsonCursor operator[](std::size_t index) const;                     // index < size

    double number(double at_least, double at_most) const;
    int integer(int at_least, int at_most) const;
    bool boolean() const;
    std::string text() const;  // any length, also empty
    std::string text_or_empty(std::string_view field) const;
    // One of the words that `parse` knows; its error is told with this place.
    template <class T>
    T word(Result<T> (*parse)(std::string_view)) const {
        const Result<T> value = parse(text());
        if (value) return *value;
        check(value.error());
        return {};
    }

    // The fields of this object that are not among the known ones, as the text of a JSON object; empty if
    // none.
    std::string unknown(std::initializer_list<std::string_view> known) const;

    void fail(Reason reason, std::string what, std::string mend) const;
    // The library's verdict on what stands here, told with this place.
    void check(const Status& status) const {
        if (!status) fail(status.error().reason, status.error().what, status.error().mend);
    }
    bool failed() const { return document_->error_.has_value(); }

  private:
    friend class JsonDocument;
    JsonCursor(const JsonDocument::Value* value, JsonDocument* document) : value_(value), document_(document) {}
    std::string kind() const;

    const JsonDocument::Value* value_;  // null once something is wrong
    JsonDocument* document_;
};

// Adds fields that JsonCursor::unknown gave; a field that is there already stays.
void add_unknown(Json& object, const std::string& unknown);

// The fields of both, as unknown() gives them; where both have one, the first one's.
std::string joined_unknown(const std::string& first, const std::string& second);

}  // namespace bindhue::capture

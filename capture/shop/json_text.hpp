// Reading JSON that anybody may have written: what is wrong and where, without an exception leaving this
// file.
#pragma once

#include <cstddef>
#include <initializer_list>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <string_view>

#include "colour/result.hpp"

namespace bindhue::capture {

using Json = nlohmann::ordered_json;  // keeps the order in which a person wrote the fields

inline constexpr std::size_t largest_json_bytes = std::size_t{64} << 20;
inline constexpr int deepest_json = 32;  // nested arrays and objects

// Whether a text that may be a table as well begins as a JSON object does.
bool looks_like_json(std::string_view text);

// Refuses a field given twice, which the parser would quietly drop, besides what is no JSON.
Result<Json> parse_json(std::string_view text, const std::string& where);

// One line for short things, so that a person can read and compare the file. Error: bad_value if a text is
// not UTF-8.
Result<std::string> to_text(const Json& json);

// A place in a document being read. The first thing wrong is kept and what follows reads as zero or empty, so
// that a format is read straight down and asked once, at the end, whether it went well. The document must
// outlive the cursor.
class JsonCursor {
  public:
    struct Document {
        std::string where;
        std::optional<Error> error;
        const Json* root = nullptr;  // set by the first cursor
    };

    JsonCursor(const Json& root, Document& document) : json_(&root), document_(&document) { document.root = &root; }

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
    bool failed() const { return document_->error.has_value(); }

  private:
    JsonCursor(const Json* json, Document* document) : json_(json), document_(document) {}

    const Json* json_;  // null once something is wrong
    Document* document_;
};

// Adds fields that JsonCursor::unknown gave; a field that is there already stays.
void add_unknown(Json& object, const std::string& unknown);

// The fields of both, as unknown() gives them; where both have one, the first one's.
std::string joined_unknown(const std::string& first, const std::string& second);

// The opening of each of our files: its format by name, and version 1.
void check_format(const JsonCursor& root, std::string_view format);

}  // namespace bindhue::capture

#include "shop/cgats.hpp"

#include <algorithm>
#include <charconv>
#include <optional>

#include "shop/json_text.hpp"

namespace bindhue::capture {
namespace {

// A table keeps the keywords before it: these bound what a hostile file can make of its 64 MiB.
constexpr std::size_t most_fields = 1000, most_tables = 100, most_keyword_bytes = std::size_t{1} << 20, most_sets = 1'000'000,
                      most_values = 10'000'000;
constexpr std::string_view byte_order_mark = "\xEF\xBB\xBF";

struct Token {
    std::string text;
    std::size_t line = 0;
    bool quoted = false;

    bool is(std::string_view word) const;
};

std::string capitals(std::string_view text) {
    std::string out(text);
    for (char& c : out)
        if (c >= 'a' && c <= 'z') c = static_cast<char>(c - 'a' + 'A');
    return out;
}

bool Token::is(std::string_view word) const { return !quoted && text.size() == word.size() && capitals(text) == word; }

bool starts_as_file(const std::string& word) {
    return word.starts_with("CGATS") || word.starts_with("ISO28178") || word.starts_with("IT8.7");
}

std::string utf8_of(std::string_view text) {
    const bool ascii = std::all_of(text.begin(), text.end(), [](char c) { return static_cast<unsigned char>(c) < 0x80; });
    if (ascii || to_text(Json(text))) return std::string(text);
    std::string out;
    for (const char c : text) {
        const auto byte = static_cast<unsigned char>(c);
        if (byte < 0x80) {
            out += c;
        } else {
            out += static_cast<char>(0xC0 | (byte >> 6));
            out += static_cast<char>(0x80 | (byte & 0x3F));
        }
    }
    return out;
}

std::string shown(const std::string& text) { return std::string(1, '"').append(text, 0, 40).append("\""); }

class Reader {
  public:
    Reader(std::string_view text, const std::string& where) : text_(text), where_(where) {}

    Result<std::vector<CgatsTable>> read() {
        bool first = true;
        while (next()) {
            const bool opens = std::exchange(first, false);
            if (token_.is("BEGIN_DATA_FORMAT")) {
                if (!data_format()) return *error_;
            } else if (token_.is("BEGIN_DATA")) {
                if (!data()) return *error_;
            } else if (token_.quoted) {
                fail(token_.line, "A value stands where a keyword is wanted: " + shown(token_.text) + ".", "Put its keyword before it.");
            } else if (token_.is(".INCLUDE")) {
                fail(token_.line, "Another file is to be read in.", "Put all the data into this file.");
            } else if (token_.is("END_DATA_FORMAT") || token_.is("END_DATA")) {
                fail(token_.line, capitals(token_.text) + " ends what has not begun.", "Put the line that begins it before.");
            } else if (!(opens && starts_as_file(capitals(token_.text)))) {
                keyword();
            }
            if (error_) return *error_;
        }
        if (error_) return *error_;
        if (tables_.empty())
            return Error{Reason::bad_format, "There are no data between BEGIN_DATA and END_DATA.", where_, "Check that the file is whole."};
        return std::move(tables_);
    }

  private:
    bool fail(std::size_t line, std::string what, std::string mend) {
        if (!error_) error_ = Error{Reason::bad_format, std::move(what), where_ + ": line " + std::to_string(line), std::move(mend)};
        return false;
    }

    void skip_blanks() {
        while (at_ < text_.size() && (text_[at_] == ' ' || text_[at_] == '\t')) ++at_;
        if (at_ < text_.size() && text_[at_] == '#') at_ = std::min(text_.find_first_of("\r\n", at_), text_.size());
    }

    bool at_line_end() {
        skip_blanks();
        return at_ == text_.size() || text_[at_] == '\r' || text_[at_] == '\n';
    }

    // False at the end of the text, and if something is wrong.
    bool next() {
        while (at_line_end()) {
            if (at_ == text_.size()) return false;
            at_ += text_.substr(at_, 2) == "\r\n" ? 2 : 1;
            ++line_;
        }
        token_ = {"", line_, text_[at_] == '"' || text_[at_] == '\''};
        if (token_.quoted) {
            const std::size_t end = text_.find_first_of(std::string{text_[at_], '\r', '\n'}, at_ + 1);
            if (end == std::string_view::npos || text_[end] != text_[at_])
                return fail(line_, "A quoted text is not closed.", "Close it on its line.");
            token_.text = text_.substr(at_ + 1, end - at_ - 1);
            at_ = end + 1;
            if (at_ < text_.size() && std::string_view(" \t\r\n#").find(text_[at_]) == std::string_view::npos)
                return fail(line_, "Something follows the closing quote of a text.", "Part values by blanks or tabs.");
        } else {
            const std::size_t end = std::min(text_.find_first_of(" \t\r\n#\"", at_), text_.size());
            token_.text = text_.substr(at_, end - at_);
            at_ = end;
            if (at_ < text_.size() && text_[at_] == '"')
                return fail(line_, "A quote stands inside a value that is not quoted.", "Put the whole value in quotes.");
        }
        return true;
    }

    // A keyword has what follows on its line, commonly one value.
    void keyword() {
        std::string name = capitals(token_.text), value;
        const std::size_t line = line_;
        while (!at_line_end() && next()) value.append(value.empty() ? "" : " ").append(token_.text);
        if (name == "NUMBER_OF_FIELDS" || name == "NUMBER_OF_SETS") {
            std::size_t count = 0;
            const auto [end, code] = std::from_chars(value.data(), value.data() + value.size(), count);
            if (code != std::errc() || end != value.data() + value.size()) {
                fail(line, name + " is no whole number.", "Give the count, or leave the line out.");
                return;
            }
            (name == "NUMBER_OF_FIELDS" ? stated_fields_ : stated_sets_) = count;
            return;
        }
        keyword_bytes_ += 16 + name.size() + value.size();
        if (keyword_bytes_ > most_keyword_bytes) {
            fail(line, "The keywords before the data take more than 1 MiB.", "Check that this is the right file.");
            return;
        }
        keywords_.emplace_back(std::move(name), std::move(value));
    }

    bool data_format() {
        const std::size_t begin = token_.line;
        fields_.clear();
        fields_line_ = begin;
        while (next()) {
            if (token_.is("END_DATA_FORMAT")) {
                if (fields_.empty()) return fail(begin, "No field is named.", "Name the fields between BEGIN_DATA_FORMAT and END_DATA_FORMAT.");
                return true;
            }
            if (token_.is("BEGIN_DATA")) break;
            std::string name = capitals(token_.text);
            if (std::find(fields_.begin(), fields_.end(), name) != fields_.end())
                return fail(token_.line, "The field " + shown(name) + " is there twice.",
                            "Leave one of the two; wavelengths belong into the names of fields, as in SPECTRAL_NM400.");
            if (fields_.size() == most_fields) return fail(begin, "There are more than 1000 fields.", "Check that this is the right file.");
            fields_.push_back(std::move(name));
        }
        return fail(begin, "END_DATA_FORMAT is missing.", "Check that the file is whole.");
    }

    bool data() {
        const std::size_t begin = token_.line;
        if (fields_.empty()) return fail(begin, "The fields of the data are not named.", "Name them between BEGIN_DATA_FORMAT and END_DATA_FORMAT.");
        if (stated_fields_ && *stated_fields_ != fields_.size())
            return fail(fields_line_, "NUMBER_OF_FIELDS is " + std::to_string(*stated_fields_) + ", but " + std::to_string(fields_.size()) + " are named.",
                        "Check that the file is whole, and mend the count.");
        std::vector<CsvTable::Row> rows;
        for (bool ended = false; !ended;) {
            if (!next()) return fail(begin, "END_DATA is missing.", "Check that the file is whole.");
            if (token_.is("END_DATA")) break;
            CsvTable::Row row{token_.line, {}};
            row.fields.push_back(std::move(token_.text));
            while (row.fields.size() < fields_.size()) {
                if (!next() || token_.is("END_DATA")) return wrong_set(row);
                row.fields.push_back(std::move(token_.text));
            }
            if (!at_line_end()) return wrong_set(row);
            values_ += fields_.size();
            if (++sets_ > most_sets || values_ > most_values)
                return fail(row.line, "There are more than 1,000,000 sets or 10,000,000 values.", "Divide the file.");
            rows.push_back(std::move(row));
        }
        if (rows.empty()) return fail(begin, "There are no data between BEGIN_DATA and END_DATA.", "Give at least one set.");
        if (stated_sets_ && *stated_sets_ != rows.size())
            return fail(begin, "NUMBER_OF_SETS is " + std::to_string(*stated_sets_) + ", but there are " + std::to_string(rows.size()) + ".",
                        "Check that the file is whole, and mend the count.");
        if (tables_.size() == most_tables) return fail(begin, "There are more than 100 tables.", "Check that this is the right file.");
        tables_.push_back({keywords_, CsvTable(where_, {fields_line_, fields_}, std::move(rows))});
        stated_fields_ = stated_sets_ = std::nullopt;
        return true;
    }

    bool wrong_set(const CsvTable::Row& row) {
        return fail(row.line, "The set that begins here has more or fewer values than the " + std::to_string(fields_.size()) + " fields.",
                    "Give each field a value, texts with blanks in quotes; \"\" is an empty one.");
    }

    std::string_view text_;
    const std::string& where_;
    std::size_t at_ = 0, line_ = 1;
    Token token_;
    std::optional<Error> error_;
    std::vector<std::pair<std::string, std::string>> keywords_;
    std::vector<std::string> fields_;
    std::size_t fields_line_ = 0, keyword_bytes_ = 0, sets_ = 0, values_ = 0;
    std::optional<std::size_t> stated_fields_, stated_sets_;
    std::vector<CgatsTable> tables_;
};

}  // namespace

std::string CgatsTable::keyword(std::string_view name) const {
    const auto found = std::find_if(keywords.rbegin(), keywords.rend(), [&](const auto& k) { return k.first == name; });
    return found == keywords.rend() ? std::string() : found->second;
}

bool looks_like_cgats(std::string_view text) {
    if (text.starts_with(byte_order_mark)) text.remove_prefix(byte_order_mark.size());
    bool first = true;
    for (std::size_t at = 0; at < text.size();) {
        const std::size_t end = std::min(text.find_first_of("\r\n", at), text.size());
        std::string_view line = text.substr(at, end - at);
        at = end + 1;
        while (!line.empty() && (line.front() == ' ' || line.front() == '\t')) line.remove_prefix(1);
        while (!line.empty() && (line.back() == ' ' || line.back() == '\t')) line.remove_suffix(1);
        if (line.empty() || line.front() == '#') continue;
        if (first && line.size() < 80 && line.find_first_of(",;") == std::string_view::npos && starts_as_file(capitals(line))) return true;
        first = false;
        if (line.size() == 17 && capitals(line) == "BEGIN_DATA_FORMAT") return true;
    }
    return false;
}

Result<std::vector<CgatsTable>> read_cgats(std::string_view text, const std::string& where) {
    if (text.starts_with(byte_order_mark)) text.remove_prefix(byte_order_mark.size());
    if (text.find('\0') != std::string_view::npos)
        return Error{Reason::bad_format, "This is not plain text.", where, "Save it as text in UTF-8."};
    return Reader(utf8_of(text), where).read();
}

Result<std::string> cgats_quoted(std::string_view text) {
    const bool doubles = text.find('"') != std::string_view::npos, singles = text.find('\'') != std::string_view::npos;
    const bool control = std::any_of(text.begin(), text.end(), [](char c) { return static_cast<unsigned char>(c) < 0x20 && c != '\t'; });
    if (control || (doubles && singles))
        return Error{Reason::bad_value, "CGATS cannot hold the text " + shown(std::string(text)) + ".", "",
                     "Take both kinds of quotes, and line ends, out of it, or write a .csv or .json."};
    const char quote = doubles ? '\'' : '"';
    return std::string(1, quote).append(text).append(1, quote);
}

}  // namespace bindhue::capture

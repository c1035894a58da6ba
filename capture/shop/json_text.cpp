#include "shop/json_text.hpp"

#include <algorithm>
#include <cmath>
#include <string>
#include <utility>
#include <vector>

namespace bindhue::capture {
namespace {

std::string line_and_column(std::string_view text, std::size_t byte) {
    byte = std::min(byte, text.size());
    const std::string_view before = text.substr(0, byte);
    const auto line = 1 + std::count(before.begin(), before.end(), '\n');
    const auto newline = before.rfind('\n');
    const auto column = newline == std::string_view::npos ? byte : byte - newline - 1;
    return "line " + std::to_string(line) + ", column " + std::to_string(std::max<std::size_t>(column, 1));
}

// Shortest text that tells the number from its neighbours when read by a person.
std::string in_words(double value) {
    char text[32];
    std::snprintf(text, sizeof text, "%.6g", value);
    return text;
}

std::string kind(const Json& json) { return json.is_null() ? "nothing (null)" : json.type_name(); }

// What the parser would let pass or throw at. It goes over the text once before the parser does: the parser's own
// way of being watched looks through a whole list at the end of each of its objects.
class Check : public nlohmann::json_sax<Json> {
  public:
    Check(std::string_view text, const std::string& where) : text_(text), where_(where) {}

    const Error& error() const { return error_; }

    bool null() override { return shallow(); }
    bool boolean(bool) override { return shallow(); }
    bool number_integer(number_integer_t) override { return shallow(); }
    bool number_unsigned(number_unsigned_t) override { return shallow(); }
    bool number_float(number_float_t, const string_t&) override { return shallow(); }
    bool string(string_t&) override { return shallow(); }
    bool binary(binary_t&) override { return shallow(); }
    bool start_array(std::size_t) override { return shallow() && ++open_; }
    bool end_array() override { return --open_, true; }
    bool start_object(std::size_t) override {
        if (!shallow()) return false;
        ++open_;
        firsts_.push_back(keys_.size());
        return true;
    }
    bool key(string_t& name) override {
        keys_.push_back(std::move(name));
        return shallow();
    }
    bool end_object() override {
        const auto first = keys_.begin() + static_cast<std::ptrdiff_t>(firsts_.back());
        std::sort(first, keys_.end());
        if (const auto twice = std::adjacent_find(first, keys_.end()); twice != keys_.end())
            return refuse("The field \"" + *twice + "\" is given twice in one object.", where_,
                          "Leave one of the two.");
        keys_.erase(first, keys_.end());
        firsts_.pop_back();
        --open_;
        return true;
    }
    bool parse_error(std::size_t byte, const std::string&, const nlohmann::detail::exception& e) override {
        constexpr int out_of_range = 400;  // the parser's numbers of errors
        if (e.id / 100 == out_of_range / 100)
            return refuse("A number is too large to be read.", where_, "Correct the number.");
        return refuse("This is not JSON: what stands here does not belong.",
                      where_ + ": " + line_and_column(text_, byte),
                      "Correct it there: often it is a missing comma, quote or bracket just before.");
    }

  private:
    bool refuse(std::string what, std::string where, std::string mend) {
        error_ = {Reason::bad_format, std::move(what), std::move(where), std::move(mend)};
        return false;
    }
    bool shallow() {
        return open_ < deepest_json ||
               refuse("Arrays and objects are nested more than " + std::to_string(deepest_json) + " deep.", where_,
                      "Check that this is the right file.");
    }

    std::string_view text_;
    const std::string& where_;
    Error error_;
    int open_ = 0;                     // arrays and objects round this place
    std::vector<std::string> keys_;    // of the open objects
    std::vector<std::size_t> firsts_;  // where in keys_ each open object begins
};

}  // namespace

Result<Json> parse_json(std::string_view text, const std::string& where) {
    if (text.size() > largest_json_bytes)
        return Error{Reason::bad_format, "The file is larger than 64 MiB.", where,
                     "Check that this is the right file."};
    Check check(text, where);
    if (!Json::sax_parse(text.begin(), text.end(), &check)) return check.error();
    return Json::parse(text.begin(), text.end());
}

namespace {

// Short containers on one line, long ones spread.
void spread(const Json& json, std::string& out, std::size_t indent) {
    std::string line = json.dump();
    const bool numbers = json.is_array() && std::all_of(json.begin(), json.end(),
                                                        [](const Json& v) { return v.is_primitive(); });
    if (!json.is_structured() || json.empty() || numbers || line.size() + indent <= 120) {
        out += line;
        return;
    }
    const std::string inner(indent + 2, ' ');
    out += json.is_object() ? "{\n" : "[\n";
    bool first = true;
    for (const auto& item : json.items()) {
        if (!first) out += ",\n";
        first = false;
        out += inner;
        if (json.is_object()) out += Json(item.key()).dump() + ": ";
        spread(item.value(), out, indent + 2);
    }
    out += "\n" + std::string(indent, ' ') + (json.is_object() ? "}" : "]");
}

}  // namespace

Result<std::string> to_text(const Json& json) {
    try {
        std::string out;
        spread(json, out, 0);
        return out + "\n";
    } catch (const nlohmann::json::exception&) {
        return Error{Reason::bad_value, "A text is not valid UTF-8.", "", "Write the text anew."};
    }
}

void JsonCursor::fail(Reason reason, std::string what, std::string mend) const {
    if (document_->error) return;
    document_->error =
        Error{reason, std::move(what), path_.empty() ? document_->where : document_->where + ": " + path_,
              std::move(mend)};
}

std::optional<JsonCursor> JsonCursor::find(std::string_view field) const {
    if (!json_ || failed()) return std::nullopt;
    if (!json_->is_object()) {
        fail(Reason::bad_format, "An object {...} is wanted here, not " + kind(*json_) + ".",
             "Write it as {...}.");
        return std::nullopt;
    }
    const auto found = json_->find(std::string(field));
    if (found == json_->end() || found->is_null()) return std::nullopt;
    return JsonCursor(&*found, document_,
                      path_.empty() ? std::string(field) : path_ + "." + std::string(field));
}

JsonCursor JsonCursor::operator[](std::string_view field) const {
    if (const auto found = find(field)) return *found;
    fail(Reason::bad_format, "The field \"" + std::string(field) + "\" is missing.", "Add it.");
    return JsonCursor(nullptr, document_, path_);
}

std::size_t JsonCursor::size(std::size_t at_least, std::size_t at_most) const {
    if (!json_ || failed()) return 0;
    if (!json_->is_array()) {
        fail(Reason::bad_format, "A list [...] is wanted here, not " + kind(*json_) + ".",
             "Write it as [...].");
        return 0;
    }
    if (json_->size() < at_least || json_->size() > at_most) {
        const std::string wanted = at_least == at_most
                                       ? std::to_string(at_least)
                                       : std::to_string(at_least) + " to " + std::to_string(at_most);
        fail(Reason::bad_format,
             "The list has " + std::to_string(json_->size()) + " entries, not " + wanted + ".",
             "Give " + wanted + ".");
        return 0;
    }
    return json_->size();
}

JsonCursor JsonCursor::operator[](std::size_t index) const {
    const bool there = json_ && !failed() && json_->is_array() && index < json_->size();
    return JsonCursor(there ? &(*json_)[index] : nullptr, document_,
                      path_ + "[" + std::to_string(index) + "]");
}

double JsonCursor::number(double at_least, double at_most) const {
    if (!json_ || failed()) return 0;
    if (!json_->is_number()) {
        fail(Reason::bad_format, "A number is wanted here, not " + kind(*json_) + ".",
             "Write a number, without quotes.");
        return 0;
    }
    const double value = json_->get<double>();
    if (!(value >= at_least && value <= at_most)) {
        fail(Reason::bad_value, in_words(value) + " is out of range.",
             "Give a number from " + in_words(at_least) + " to " + in_words(at_most) + ".");
        return 0;
    }
    return value;
}

int JsonCursor::integer(int at_least, int at_most) const {
    const double value = number(at_least, at_most);
    if (value != std::floor(value)) {
        fail(Reason::bad_value, in_words(value) + " is not a whole number.", "Give a whole number.");
        return 0;
    }
    return static_cast<int>(value);
}

bool JsonCursor::boolean() const {
    if (!json_ || failed()) return false;
    if (!json_->is_boolean()) {
        fail(Reason::bad_format, "Yes or no is wanted here, not " + kind(*json_) + ".", "Write true or false.");
        return false;
    }
    return json_->get<bool>();
}

std::string JsonCursor::text() const {
    if (!json_ || failed()) return {};
    if (!json_->is_string()) {
        fail(Reason::bad_format, "A text is wanted here, not " + kind(*json_) + ".",
             "Write it in double quotes.");
        return {};
    }
    return json_->get<std::string>();
}

std::string JsonCursor::unknown(std::initializer_list<std::string_view> known) const {
    if (!json_ || failed() || !json_->is_object()) return {};
    Json rest = Json::object();
    for (const auto& item : json_->items())
        if (std::find(known.begin(), known.end(), item.key()) == known.end()) rest[item.key()] = item.value();
    return rest.empty() ? std::string() : rest.dump();
}

void add_unknown(Json& object, const std::string& unknown) {
    const Json rest = Json::parse(unknown, nullptr, false);
    if (!rest.is_object()) return;
    for (const auto& item : rest.items())
        if (!object.contains(item.key())) object[item.key()] = item.value();
}

std::string joined_unknown(const std::string& first, const std::string& second) {
    if (first.empty() || second.empty()) return first.empty() ? second : first;
    Json joined = Json::parse(first, nullptr, false);
    if (!joined.is_object()) return second;
    add_unknown(joined, second);
    return joined.dump();
}

void check_format(const JsonCursor& root, std::string_view format) {
    const JsonCursor name = root["format"];
    if (name.text() != format)
        name.fail(Reason::bad_format, "This is not a file of the format \"" + std::string(format) + "\".",
                  "Check that this is the right file.");
    const JsonCursor version = root["version"];
    if (version.integer(1, 1'000'000) != 1)
        version.fail(Reason::bad_format, "The file was written by a later version of this program.",
                     "Use the version that wrote it, or a later one.");
}

}  // namespace bindhue::capture

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

// Puts a document together while the parser goes over its text, and refuses what the library's own way would let pass or throw at. That one
// looks a field up among all before it, which takes minutes for an object of a million fields.
class Builder : public nlohmann::json_sax<Json> {
  public:
    Builder(std::string_view text, const std::string& where) : text_(text), where_(where) {}

    const Error& error() const { return error_; }
    Json take() { return std::move(root_); }

    bool null() override { return add(nullptr); }
    bool boolean(bool value) override { return add(value); }
    bool number_integer(number_integer_t value) override { return add(value); }
    bool number_unsigned(number_unsigned_t value) override { return add(value); }
    bool number_float(number_float_t value, const string_t&) override { return add(value); }
    bool string(string_t& value) override { return add(std::move(value)); }
    bool binary(binary_t&) override { return false; }  // there is none in text
    bool start_array(std::size_t) override { return open(Json::array()); }
    bool end_array() override { return open_.pop_back(), true; }
    bool start_object(std::size_t) override { return open(Json::object()); }
    bool key(string_t& name) override {
        open_.back()->get_ref<Json::object_t&>().emplace_back(std::move(name), Json());
        return true;
    }
    bool end_object() override {
        names_.clear();
        for (const auto& field : open_.back()->get_ref<const Json::object_t&>()) names_.emplace_back(field.first);
        std::sort(names_.begin(), names_.end());
        if (const auto twice = std::adjacent_find(names_.begin(), names_.end()); twice != names_.end())
            return refuse(std::string("The field \"").append(*twice).append("\" is given twice in one object."), where_, "Leave one of the two.");
        open_.pop_back();
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
    // Where it goes, or null if it is too deep.
    Json* place(Json value) {
        if (open_.size() >= static_cast<std::size_t>(deepest_json)) {
            refuse("Arrays and objects are nested more than " + std::to_string(deepest_json) + " deep.", where_,
                   "Check that this is the right file.");
            return nullptr;
        }
        if (open_.empty()) return &(root_ = std::move(value));
        if (open_.back()->is_array()) return &open_.back()->get_ref<Json::array_t&>().emplace_back(std::move(value));
        return &(open_.back()->get_ref<Json::object_t&>().back().second = std::move(value));
    }
    bool add(Json value) { return place(std::move(value)) != nullptr; }
    bool open(Json value) {
        Json* const placed = place(std::move(value));
        if (placed != nullptr) open_.push_back(placed);
        return placed != nullptr;
    }

    std::string_view text_;
    const std::string& where_;
    Error error_;
    Json root_;
    std::vector<Json*> open_;              // arrays and objects round this place: none of them grows while one inside it is open
    std::vector<std::string_view> names_;  // of one object; kept for its memory
};

}  // namespace

bool looks_like_json(std::string_view text) {
    if (text.starts_with("\xEF\xBB\xBF")) text.remove_prefix(3);
    const auto first = text.find_first_not_of(" \t\r\n");
    return first != std::string_view::npos && text[first] == '{';
}

Result<Json> parse_json(std::string_view text, const std::string& where) {
    if (text.size() > largest_json_bytes)
        return Error{Reason::bad_format, "The file is larger than 64 MiB.", where,
                     "Check that this is the right file."};
    Builder builder(text, where);
    if (!Json::sax_parse(text.begin(), text.end(), &builder)) return builder.error();
    return builder.take();
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

namespace {

// How to come from one value to another inside it; false if it is not there. Only looked for once something is wrong: to keep it while reading
// takes longer than reading.
bool path_to(const Json* wanted, const Json& from, std::string& path) {
    if (&from == wanted) return true;
    const std::size_t length = path.size();
    if (from.is_object()) {
        for (const auto& [name, value] : from.get_ref<const Json::object_t&>()) {
            path.append(path.empty() ? "" : ".").append(name);
            if (path_to(wanted, value, path)) return true;
            path.resize(length);
        }
    } else if (from.is_array()) {
        for (std::size_t i = 0; i < from.size(); ++i) {
            if (!from[i].is_structured() && &from[i] != wanted) continue;
            path.append("[").append(std::to_string(i)).append("]");
            if (path_to(wanted, from[i], path)) return true;
            path.resize(length);
        }
    }
    return false;
}

}  // namespace

void JsonCursor::fail(Reason reason, std::string what, std::string mend) const {
    if (document_->error) return;
    std::string path;
    if (json_ != nullptr && document_->root != nullptr && !path_to(json_, *document_->root, path)) path.clear();
    document_->error = Error{reason, std::move(what), path.empty() ? document_->where : document_->where + ": " + path, std::move(mend)};
}

std::optional<JsonCursor> JsonCursor::find(std::string_view field) const {
    if (!json_ || failed()) return std::nullopt;
    if (!json_->is_object()) {
        fail(Reason::bad_format, "An object {...} is wanted here, not " + kind(*json_) + ".",
             "Write it as {...}.");
        return std::nullopt;
    }
    for (const auto& [name, value] : json_->get_ref<const Json::object_t&>())
        if (name == field) return value.is_null() ? std::nullopt : std::optional(JsonCursor(&value, document_));
    return std::nullopt;
}

JsonCursor JsonCursor::operator[](std::string_view field) const {
    if (const auto found = find(field)) return *found;
    fail(Reason::bad_format, "The field \"" + std::string(field) + "\" is missing.", "Add it.");
    return {nullptr, document_};
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
    return {there ? &(*json_)[index] : nullptr, document_};
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

std::string JsonCursor::text_or_empty(std::string_view field) const {
    const auto found = find(field);
    return found ? found->text() : std::string();
}

std::string JsonCursor::unknown(std::initializer_list<std::string_view> known) const {
    if (!json_ || failed() || !json_->is_object()) return {};
    Json rest = Json::object();
    for (const auto& [name, value] : json_->get_ref<const Json::object_t&>())
        if (std::find(known.begin(), known.end(), name) == known.end()) rest.get_ref<Json::object_t&>().emplace_back(name, value);
    return rest.empty() ? std::string() : rest.dump();
}

void add_unknown(Json& object, const std::string& unknown) {
    if (unknown.empty() || !object.is_object()) return;
    Result<Json> rest = parse_json(unknown, "");
    if (!rest || !rest->is_object()) return;
    auto& fields = object.get_ref<Json::object_t&>();
    const auto there = static_cast<std::ptrdiff_t>(fields.size());  // the new ones differ among themselves
    for (auto& [name, value] : rest->get_ref<Json::object_t&>())
        if (std::none_of(fields.begin(), fields.begin() + there, [&](const auto& field) { return field.first == name; }))
            fields.emplace_back(name, std::move(value));
}

std::string joined_unknown(const std::string& first, const std::string& second) {
    if (first.empty() || second.empty()) return first.empty() ? second : first;
    Result<Json> joined = parse_json(first, "");
    if (!joined || !joined->is_object()) return second;
    add_unknown(*joined, second);
    return joined->dump();
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

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

}  // namespace

// Puts a document together while nlohmann's parser goes over its text, and refuses what that one's own way would let pass or throw at (which
// also looks a field up among all before it: minutes for an object of a million fields). What is open stands in a stack; what an array or
// object holds is moved to its place, together, when it ends.
class JsonBuilder : public nlohmann::json_sax<Json> {
  public:
    JsonBuilder(std::string_view text, JsonDocument& document) : text_(text), document_(document) {
        // Both from measured files; it is no harm to be wrong.
        document_.letters_.reserve(text.size() / 2);
        document_.values_.reserve(text.size() / 16);
    }

    const Error& error() const { return error_; }

    bool null() override { return add(nullptr); }
    bool boolean(bool value) override { return add(value); }
    bool number_integer(number_integer_t value) override { return add(value); }
    bool number_unsigned(number_unsigned_t value) override { return add(value); }
    bool number_float(number_float_t value, const string_t&) override { return add(value); }
    bool string(string_t& value) override { return add(JsonDocument::Text{kept(value)}); }
    bool binary(binary_t&) override { return false; }  // there is none in text
    bool start_array(std::size_t) override { return open(JsonDocument::List{}); }
    bool start_object(std::size_t) override { return open(JsonDocument::Object{}); }
    bool end_array() override { return close<JsonDocument::List>(); }
    bool key(string_t& name) override { return name_ = kept(name), true; }
    bool end_object() override {
        names_.clear();
        for (std::size_t i = open_.back() + 1; i < stack_.size(); ++i) names_.push_back(document_.letters(stack_[i].name));
        std::sort(names_.begin(), names_.end());
        if (const auto twice = std::adjacent_find(names_.begin(), names_.end()); twice != names_.end())
            return refuse(std::string("The field \"").append(*twice).append("\" is given twice in one object."), document_.where_,
                          "Leave one of the two.");
        return close<JsonDocument::Object>();
    }
    bool parse_error(std::size_t byte, const std::string&, const nlohmann::detail::exception& e) override {
        constexpr int out_of_range = 400;  // the parser's numbers of errors
        if (e.id / 100 == out_of_range / 100)
            return refuse("A number is too large to be read.", document_.where_, "Correct the number.");
        return refuse("This is not JSON: what stands here does not belong.",
                      document_.where_ + ": " + line_and_column(text_, byte),
                      "Correct it there: often it is a missing comma, quote or bracket just before.");
    }

  private:
    bool refuse(std::string what, std::string where, std::string mend) {
        error_ = {Reason::bad_format, std::move(what), std::move(where), std::move(mend)};
        return false;
    }
    JsonDocument::Span kept(const std::string& letters) {
        const auto at = static_cast<std::uint32_t>(document_.letters_.size());  // at most as many as the text has
        document_.letters_ += letters;
        return {at, static_cast<std::uint32_t>(letters.size())};
    }
    template <class T>
    bool add(T what) {
        if (open_.size() >= static_cast<std::size_t>(deepest_json))
            return refuse("Arrays and objects are nested more than " + std::to_string(deepest_json) + " deep.", document_.where_,
                          "Check that this is the right file.");
        if (++values_ > most_json_values)
            return refuse("There are more than 8,000,000 values in the file.", document_.where_, "Check that this is the right file.");
        stack_.push_back({name_, what});
        if (open_.empty()) document_.root_ = stack_.back();
        return true;
    }
    template <class T>
    bool open(T what) {
        if (!add(what)) return false;
        open_.push_back(stack_.size() - 1);
        name_ = {};
        return true;
    }
    template <class T>
    bool close() {
        auto& values = document_.values_;
        const auto held = stack_.begin() + static_cast<std::ptrdiff_t>(open_.back()) + 1;
        const T what{{static_cast<std::uint32_t>(values.size()), static_cast<std::uint32_t>(stack_.end() - held)}};
        values.insert(values.end(), held, stack_.end());
        stack_.erase(held, stack_.end());
        stack_.back().what = what;
        open_.pop_back();
        name_ = {};
        if (open_.empty()) document_.root_ = stack_.back();
        return true;
    }

    std::string_view text_;
    JsonDocument& document_;
    Error error_;
    JsonDocument::Span name_;                 // of the value to come
    std::vector<JsonDocument::Value> stack_;  // what the open ones hold so far, each after the one that holds it
    std::vector<std::size_t> open_;           // their places in it
    std::size_t values_ = 0;
    std::vector<std::string_view> names_;     // of one object; kept for its memory
};

bool looks_like_json(std::string_view text) {
    if (text.starts_with("\xEF\xBB\xBF")) text.remove_prefix(3);
    const auto first = text.find_first_not_of(" \t\r\n");
    return first != std::string_view::npos && text[first] == '{';
}

Result<JsonDocument> JsonDocument::parse(std::string_view text, std::string where) {
    if (text.size() > largest_json_bytes)
        return Error{Reason::bad_format, "The file is larger than 64 MiB.", std::move(where), "Check that this is the right file."};
    JsonDocument out;
    out.where_ = std::move(where);
    JsonBuilder builder(text, out);
    if (!Json::sax_parse(text.begin(), text.end(), &builder)) return builder.error();
    return out;
}

JsonCursor JsonDocument::root() { return {&root_, this}; }

Json JsonDocument::json_of(const Value& value) const {
    if (const auto* text = std::get_if<Text>(&value.what)) return std::string(letters(*text));
    if (const auto* list = std::get_if<List>(&value.what)) {
        Json out = Json::array();
        for (const Value& v : inside(*list)) out.get_ref<Json::array_t&>().push_back(json_of(v));
        return out;
    }
    if (const auto* object = std::get_if<Object>(&value.what)) {
        Json out = Json::object();  // whose own way to add a field looks it up among all before it
        for (const Value& v : inside(*object)) out.get_ref<Json::object_t&>().emplace_back(std::string(letters(v.name)), json_of(v));
        return out;
    }
    return std::visit(
        [](const auto& plain) -> Json {
            if constexpr (std::is_constructible_v<Json, decltype(plain)>)
                return plain;
            else
                return nullptr;
        },
        value.what);
}

// How to come from one value to another inside it; false if it is not there. Only looked for once something is wrong: to keep it while reading
// takes longer than reading.
bool JsonDocument::path_to(const Value* wanted, const Value& from, std::string& path) const {
    if (&from == wanted) return true;
    const auto* object = std::get_if<Object>(&from.what);
    const auto* list = std::get_if<List>(&from.what);
    if (object == nullptr && list == nullptr) return false;
    const std::span<const Value> held = inside(object != nullptr ? Span(*object) : Span(*list));
    const std::size_t length = path.size();
    for (std::size_t i = 0; i < held.size(); ++i) {
        if (object != nullptr)
            path.append(path.empty() ? "" : ".").append(letters(held[i].name));
        else
            path.append("[").append(std::to_string(i)).append("]");
        if (path_to(wanted, held[i], path)) return true;
        path.resize(length);
    }
    return false;
}

Result<Json> parse_json(std::string_view text, const std::string& where) {
    const Result<JsonDocument> document = JsonDocument::parse(text, where);
    if (!document) return document.error();
    return document->to_json();
}

namespace {

// At least so many characters does it take; not counted further than the limit.
std::size_t least_length(const Json& json, std::size_t limit) {
    if (json.is_string()) return json.get_ref<const std::string&>().size() + 2;
    if (!json.is_structured()) return 1;
    std::size_t length = 2;
    for (const Json& inner : json) {
        if (length > limit) break;
        length += 1 + least_length(inner, limit);
    }
    return length;
}

// Short containers on one line, long ones spread.
void spread(const Json& json, std::string& out, std::size_t indent) {
    constexpr std::size_t longest_line = 120;
    const bool numbers = json.is_array() && std::all_of(json.begin(), json.end(),
                                                        [](const Json& v) { return v.is_primitive(); });
    if (!json.is_structured() || json.empty() || numbers || least_length(json, longest_line) + indent <= longest_line) {
        const std::string line = json.dump();
        if (!json.is_structured() || json.empty() || numbers || line.size() + indent <= longest_line) {
            out += line;
            return;
        }
    }
    const std::string inner(indent + 1, ' ');
    out += json.is_object() ? "{\n" : "[\n";
    bool first = true;
    for (const auto& item : json.items()) {
        if (!first) out += ",\n";
        first = false;
        out += inner;
        if (json.is_object()) out += Json(item.key()).dump() + ": ";
        spread(item.value(), out, indent + 1);
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

std::string JsonCursor::kind() const {
    static constexpr const char* words[] = {"nothing (null)", "boolean", "number", "number", "number", "string", "array", "object"};
    return words[value_->what.index()];
}

void JsonCursor::fail(Reason reason, std::string what, std::string mend) const {
    if (failed()) return;
    std::string path;
    if (value_ != nullptr && !document_->path_to(value_, document_->root_, path)) path.clear();
    document_->error_ = Error{reason, std::move(what), path.empty() ? document_->where_ : document_->where_ + ": " + path, std::move(mend)};
}

std::optional<JsonCursor> JsonCursor::find(std::string_view field) const {
    if (!value_ || failed()) return std::nullopt;
    const auto* object = std::get_if<JsonDocument::Object>(&value_->what);
    if (object == nullptr) {
        fail(Reason::bad_format, "An object {...} is wanted here, not " + kind() + ".", "Write it as {...}.");
        return std::nullopt;
    }
    for (const auto& value : document_->inside(*object))
        if (document_->letters(value.name) == field)
            return std::holds_alternative<std::nullptr_t>(value.what) ? std::nullopt : std::optional(JsonCursor(&value, document_));
    return std::nullopt;
}

JsonCursor JsonCursor::operator[](std::string_view field) const {
    if (const auto found = find(field)) return *found;
    fail(Reason::bad_format, "The field \"" + std::string(field) + "\" is missing.", "Add it.");
    return {nullptr, document_};
}

std::size_t JsonCursor::size(std::size_t at_least, std::size_t at_most) const {
    if (!value_ || failed()) return 0;
    const auto* list = std::get_if<JsonDocument::List>(&value_->what);
    if (list == nullptr) {
        fail(Reason::bad_format, "A list [...] is wanted here, not " + kind() + ".", "Write it as [...].");
        return 0;
    }
    const std::size_t size = list->size;
    if (size < at_least || size > at_most) {
        const std::string wanted = at_least == at_most
                                       ? std::to_string(at_least)
                                       : std::to_string(at_least) + " to " + std::to_string(at_most);
        fail(Reason::bad_format, "The list has " + std::to_string(size) + " entries, not " + wanted + ".", "Give " + wanted + ".");
        return 0;
    }
    return size;
}

JsonCursor JsonCursor::operator[](std::size_t index) const {
    const auto* list = value_ && !failed() ? std::get_if<JsonDocument::List>(&value_->what) : nullptr;
    return {list != nullptr && index < list->size ? &document_->inside(*list)[index] : nullptr, document_};
}

double JsonCursor::number(double at_least, double at_most) const {
    if (!value_ || failed()) return 0;
    double value = 0;
    if (const auto* real = std::get_if<double>(&value_->what))
        value = *real;
    else if (const auto* integer = std::get_if<std::int64_t>(&value_->what))
        value = static_cast<double>(*integer);
    else if (const auto* natural = std::get_if<std::uint64_t>(&value_->what))
        value = static_cast<double>(*natural);
    else {
        fail(Reason::bad_format, "A number is wanted here, not " + kind() + ".", "Write a number, without quotes.");
        return 0;
    }
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
    if (!value_ || failed()) return false;
    if (const auto* yes = std::get_if<bool>(&value_->what)) return *yes;
    fail(Reason::bad_format, "Yes or no is wanted here, not " + kind() + ".", "Write true or false.");
    return false;
}

std::string JsonCursor::text() const {
    if (!value_ || failed()) return {};
    if (const auto* text = std::get_if<JsonDocument::Text>(&value_->what)) return std::string(document_->letters(*text));
    fail(Reason::bad_format, "A text is wanted here, not " + kind() + ".", "Write it in double quotes.");
    return {};
}

std::string JsonCursor::text_or_empty(std::string_view field) const {
    const auto found = find(field);
    return found ? found->text() : std::string();
}

std::string JsonCursor::unknown(std::initializer_list<std::string_view> known) const {
    const auto* object = value_ && !failed() ? std::get_if<JsonDocument::Object>(&value_->what) : nullptr;
    if (object == nullptr) return {};
    Json rest = Json::object();
    for (const auto& value : document_->inside(*object))
        if (const auto name = document_->letters(value.name); std::find(known.begin(), known.end(), name) == known.end())
            rest.get_ref<Json::object_t&>().emplace_back(std::string(name), document_->json_of(value));
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

}  // namespace bindhue::capture

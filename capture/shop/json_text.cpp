#include "shop/json_text.hpp"

#include <algorithm>
#include <cmath>
#include <set>
#include <vector>

namespace bindhue::capture {
namespace {

struct Refused {
    std::string what, mend;
};

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

}  // namespace

Result<Json> parse_json(std::string_view text, const std::string& where) {
    if (text.size() > largest_json_bytes)
        return Error{Reason::bad_format, "The file is larger than 64 MiB.", where,
                     "Check that this is the right file."};
    std::vector<std::set<std::string>> fields;  // of the objects that are open
    const auto watch = [&](int depth, Json::parse_event_t event, Json& parsed) {
        if (depth >= deepest_json)
            throw Refused{
                "Arrays and objects are nested more than " + std::to_string(deepest_json) + " deep.",
                "Check that this is the right file."};
        if (event == Json::parse_event_t::object_start) fields.emplace_back();
        if (event == Json::parse_event_t::object_end) fields.pop_back();
        if (event == Json::parse_event_t::key && !fields.back().insert(parsed.get<std::string>()).second)
            throw Refused{"The field \"" + parsed.get<std::string>() + "\" is given twice in one object.",
                          "Leave one of the two."};
        return true;
    };
    try {
        return Json::parse(text.begin(), text.end(), watch);
    } catch (const Refused& refused) {
        return Error{Reason::bad_format, refused.what, where, refused.mend};
    } catch (const nlohmann::json::parse_error& e) {
        return Error{Reason::bad_format, "This is not JSON: what stands here does not belong.",
                     where + ": " + line_and_column(text, e.byte),
                     "Correct it there: often it is a missing comma, quote or bracket just before."};
    } catch (const nlohmann::json::exception&) {
        return Error{Reason::bad_format, "A number is too large to be read.", where, "Correct the number."};
    }
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

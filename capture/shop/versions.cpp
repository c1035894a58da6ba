#include "shop/versions.hpp"

#include "shop/atomic_file.hpp"

namespace bindhue::capture {
namespace {

int version_of(const JsonCursor& root, const FileFormat& format) {
    const JsonCursor name = root["format"];
    if (name.text() != format.name)
        name.fail(Reason::bad_format, "This is not a file of the format \"" + std::string(format.name) + "\".",
                  "Check that this is the right file.");
    const JsonCursor at = root["version"];
    const int version = at.integer(1, 1'000'000);
    if (version > format.version())
        at.fail(Reason::bad_format,
                "The file was written by a later version of this program: it is of version " + std::to_string(version) +
                    " of its format, and this program knows them up to " + std::to_string(format.version()) + ".",
                "Use the version that wrote it, or a later one.");
    return version;
}

}  // namespace

Result<JsonDocument> read_format(std::string_view text, const std::string& where, const FileFormat& format) {
    Result<JsonDocument> document = JsonDocument::parse(text, where);
    if (!document) return document;
    int version = version_of(document->root(), format);
    for (; !document->error() && version < format.version(); ++version) {
        Json newer = document->to_json();
        format.steps[static_cast<std::size_t>(version - 1)](document->root(), newer);
        if (document->error()) break;
        newer["version"] = version + 1;
        document = JsonDocument::parse(newer.dump(), where);
        if (!document) return document;
    }
    if (document->error()) return *document->error();
    return document;
}

Result<int> version_in(std::string_view text, const std::string& where, const FileFormat& format) {
    Result<JsonDocument> document = JsonDocument::parse(text, where);
    if (!document) return document.error();
    const int version = version_of(document->root(), format);
    if (document->error()) return *document->error();
    return version;
}

Json opening(const FileFormat& format) { return {{"format", format.name}, {"version", format.version()}}; }

Status save_in_format(const std::filesystem::path& path, std::string_view text, const FileFormat& format) {
    const Result<std::string> there = read_file(path);
    if (!there && there.error().reason != Reason::not_found) return there.error();
    if (there)
        if (const Result<int> version = version_in(*there, path.string(), format); version && *version < format.version())
            if (const auto kept = keep_beside(path, *there, ".version-" + std::to_string(*version)); !kept) return kept.error();
    return save_file(path, text);
}

}  // namespace bindhue::capture

#include "shop/shop_check.hpp"

#include <algorithm>
#include <functional>

#include "shop/atomic_file.hpp"
#include "shop/coat_tests.hpp"
#include "shop/job_file.hpp"
#include "shop/settings.hpp"
#include "shop/formats.hpp"
#include "shop/spool_file.hpp"

namespace bindhue::capture {
namespace {

namespace fs = std::filesystem;

template <class T>
Status status_of(const Result<T>& result) {
    if (!result) return result.error();
    return ok();
}

using Reader = std::function<Status(std::string_view text, const std::string& where)>;
struct Kind {
    std::string file;
    const FileFormat& format;
    Reader read;
};

// What `bindhue read` printed: nothing of ours reads all of it again, so only its opening is looked at.
Status check_reading(std::string_view text, const std::string& where) {
    Result<JsonDocument> document = read_format(text, where, reading_format);
    if (!document) return document.error();
    const JsonCursor root = document->root();
    root["bands"].size(0, 10'000);
    if (document->error()) return *document->error();
    return ok();
}

// Every file that a shop can hold. A new one is added here.
const std::vector<Kind>& in_shop() {
    static const std::vector<Kind> kinds{
        {"spools.json", spools_format, [](auto text, auto& where) { return status_of(read_spool_file(text, where)); }},
        {"coat-tests.json", coat_tests_format, [](auto text, auto& where) { return status_of(read_coat_tests(text, where)); }},
        {"settings.json", settings_format, [](auto text, auto& where) { return status_of(read_settings(text, where)); }}};
    return kinds;
}
const std::vector<Kind>& in_job() {
    static const std::vector<Kind> kinds{
        {"job.json", job_format, [](auto text, auto& where) { return status_of(read_job(text, where)); }},
        {"reading.json", reading_format, check_reading}};
    return kinds;
}

const char* const previous_ending = ".previous";

VersionCheck check_version(const fs::path& path, const Kind& kind) {
    const Result<std::string> text = read_file(path);
    if (!text && text.error().reason == Reason::not_found) return {};
    if (!text) return {true, text.error(), 0};
    if (const Status status = kind.read(*text, path.string()); !status) return {true, status.error(), 0};
    const Result<int> version = version_in(*text, path.string(), kind.format);
    return {true, std::nullopt, version ? *version : 0};
}

FileCheck check_file(const fs::path& folder, const std::string& name, const Kind& kind) {
    return {name, kind.format.version(), check_version(folder / name, kind), check_version((folder / name).string() + previous_ending, kind)};
}

// Names in a folder, in order; of a folder that is not there none.
Result<std::vector<std::string>> names_in(const fs::path& folder) {
    std::vector<std::string> out;
    std::error_code code;
    fs::directory_iterator at(folder, code);
    if (code == std::errc::no_such_file_or_directory) return out;
    for (; !code && at != fs::directory_iterator(); at.increment(code)) out.push_back(at->path().filename().string());
    if (code)
        return Error{Reason::storage, "The folder cannot be read: " + code.message() + ".", folder.string(),
                     "Correct the permissions."};
    std::sort(out.begin(), out.end());
    return out;
}

struct Walked {
    std::vector<std::pair<std::string, const Kind*>> files;
    std::vector<std::string> leftovers;
};

Result<Walked> walk(const Shop& shop) {
    Walked out;
    const auto take = [&](const std::string& before, const std::vector<Kind>& kinds, const std::vector<std::string>& names) {
        for (const Kind& kind : kinds) out.files.emplace_back(before + kind.file, &kind);
        for (const std::string& name : names)
            if (is_leftover(name)) out.leftovers.push_back(before + name);
    };
    const Result<std::vector<std::string>> names = names_in(shop.folder());
    if (!names) return names.error();
    take("", in_shop(), *names);
    const Result<std::vector<std::string>> jobs = names_in(shop.folder() / "jobs");
    if (!jobs) return jobs.error();
    for (const std::string& job : *jobs) {
        std::error_code code;
        if (is_leftover(job)) out.leftovers.push_back("jobs/" + job);
        if (job[0] == '.' || !fs::is_directory(shop.folder() / "jobs" / job, code)) continue;
        const Result<std::vector<std::string>> inside = names_in(shop.folder() / "jobs" / job);
        if (!inside) return inside.error();
        take("jobs/" + job + "/", in_job(), *inside);
    }
    return out;
}

}  // namespace

bool ShopCheck::sound() const {
    return std::none_of(files.begin(), files.end(), [](const FileCheck& f) { return f.damaged(); });
}

Result<ShopCheck> check(const Shop& shop) {
    Result<Walked> walked = walk(shop);
    if (!walked) return walked.error();
    ShopCheck out;
    for (const auto& [name, kind] : walked->files) {
        FileCheck file = check_file(shop.folder(), name, *kind);
        if (file.current.there || file.previous.there) out.files.push_back(std::move(file));
    }
    out.leftovers = std::move(walked->leftovers);
    return out;
}

bool is_own_file(const Shop& shop, const fs::path& path) {
    std::error_code code;
    const fs::path folder = fs::weakly_canonical(shop.folder(), code), target = fs::weakly_canonical(fs::absolute(path, code), code);
    const fs::path within = target.lexically_relative(folder);
    if (within.empty() || *within.begin() == "..") return false;
    if (*within.begin() == "jobs") return true;
    const std::string name = within.string();
    return name == ".lock" || std::any_of(in_shop().begin(), in_shop().end(),
                                          [&](const Kind& kind) { return name.starts_with(kind.file); });
}

Result<Restored> restore(const Shop& shop, const std::string& name) {
    const Result<Walked> walked = walk(shop);
    if (!walked) return walked.error();
    const auto known =
        std::find_if(walked->files.begin(), walked->files.end(), [&](const auto& file) { return file.first == name; });
    if (known == walked->files.end())
        return Error{Reason::not_found, "The shop has no file \"" + name + "\".", shop.folder().string(), "See bindhue shop check."};
    const fs::path path = shop.folder() / name;
    const fs::path kept = path.string() + previous_ending;
    const FileCheck file = check_file(shop.folder(), name, *known->second);
    if (!file.previous.there)
        return Error{Reason::not_found, "No version before is kept of this file.", path.string(),
                     "Take it from a copy of the shop, if you have one."};
    if (file.previous.fault) return *file.previous.fault;
    const Result<std::string> text = read_file(kept);
    if (!text) return text.error();

    // Not by saving it with the current version as the previous one: cut off half way, that would leave the current version
    // twice and the one before not at all.
    Restored out{name, ""};
    if (file.current.there) {
        const Result<std::string> current = read_file(path);
        if (!current) return current.error();
        const Result<std::string> aside = keep_beside(path, *current, ".aside");
        if (!aside) return aside.error();
        out.aside = fs::path(name).replace_filename(*aside).string();
    }
    if (const Status saved = save_file(path, *text, Previous::forgotten); !saved) return saved.error();
    return out;
}

}  // namespace bindhue::capture

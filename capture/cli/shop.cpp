#include <algorithm>
#include <iostream>
#include <memory>

#include "cli/command.hpp"
#include "cli/rack.hpp"
#include "cli/shop.hpp"
#include "sheet/swatch.hpp"
#include "shop/shop_check.hpp"

namespace bindhue::capture::cli {
namespace {

using nlohmann::ordered_json;

struct ShopCommand {
    std::string shop;
    std::vector<std::string> files;
    bool json = false;

    int look() const {
        const Result<Shop> opened = open_shop(shop, Access::read);
        if (!opened) return fail(opened.error());
        const Result<ShopCheck> found = check(*opened);
        if (!found) return fail(found.error());
        if (json)
            print_json(document(*found));
        else
            print(*found);
        return found->sound() ? done : unreadable_input;
    }

    int put_back() const {
        const Result<Shop> opened = open_shop(shop, Access::change);
        if (!opened) return fail(opened.error());
        std::vector<std::string> names = files;
        if (names.empty()) {
            const Result<ShopCheck> found = check(*opened);
            if (!found) return fail(found.error());
            for (const FileCheck& file : found->files)
                if (file.damaged()) names.push_back(file.name);
        }
        if (names.empty()) std::cout << "Every file reads; nothing was put back.\n";
        int ended = done;
        // One that cannot be put back does not keep the others from it.
        for (const std::string& name : names) {
            const Result<Restored> restored = restore(*opened, name);
            if (!restored) {
                ended = fail(restored.error());
                continue;
            }
            std::cout << name << ": the version before is back"
                      << (restored->aside.empty() ? std::string() : "; what it replaces is kept as " + restored->aside) << '\n';
        }
        return ended;
    }

  private:
    static std::string in_words(const VersionCheck& version) {
        return version.fault ? "cannot be read" : version.there ? "reads" : "none";
    }

    static ordered_json to_json(const VersionCheck& version) {
        ordered_json out{{"there", version.there}, {"reads", version.sound()}};
        if (version.sound()) out["format_version"] = version.format_version;
        if (version.fault) out["fault"] = {{"where", version.fault->where}, {"what", version.fault->what}, {"mend", version.fault->mend}};
        return out;
    }

    static ordered_json document(const ShopCheck& found) {
        ordered_json rows = ordered_json::array();
        for (const FileCheck& file : found.files)
            rows.push_back({{"file", file.name}, {"format_version", file.format_version}, {"current", to_json(file.current)}, {"previous", to_json(file.previous)}});
        return {{"format", "bindhue-shop-check"},
                {"version", 1},
                {"sound", found.sound()},
                {"files", std::move(rows)},
                {"leftovers", found.leftovers}};
    }

    static void print(const ShopCheck& found) {
        if (found.files.empty()) std::cout << "This shop has no files yet.\n";
        Table table({"file", "format", "now", "the version before"});
        for (const FileCheck& file : found.files) {
            const int now = file.current.format_version;
            table.add({file.name,
                       now == 0 ? "-" : std::to_string(now) + (now < file.format_version ? ", to become " + std::to_string(file.format_version) : ""),
                       file.current.there ? in_words(file.current) : "gone", in_words(file.previous)});
        }
        if (!found.files.empty()) std::cout << table.text();
        for (const FileCheck& file : found.files) {
            if (file.current.fault)
                std::cout << '\n' << file.current.fault->where << ": " << file.current.fault->what << '\n';
            if (file.damaged())
                std::cout << "  what to do: "
                          << (file.previous.sound() ? "bindhue shop restore " + file.name + " puts the version before back"
                                                    : std::string("no version before can be read: take the file from a copy of the shop"))
                          << '\n';
        }
        if (std::any_of(found.files.begin(), found.files.end(),
                        [](const FileCheck& f) { return f.current.sound() && f.current.format_version < f.format_version; }))
            std::cout << "\nA file of an older format is read as it is, and written in the newer one when it is next changed; the older file is then "
                         "kept for good beside it, as FILE.version-1.\n";
        if (!found.leftovers.empty())
            std::cout << "\nleft behind by saves that were cut off, " << found.leftovers.size()
                      << "; the next change of the shop removes them\n";
    }
};

}  // namespace

void add_shop(CLI::App& app, int& exit_code) {
    auto command = std::make_shared<ShopCommand>();
    CLI::App* shop = app.add_subcommand("shop", "The shop's folder: whether its files read, and the way back");
    shop->require_subcommand(1);
    add_shop_settings(*shop, exit_code);
    CLI::App* look = shop->add_subcommand("check", "Read every file of the shop; ends with 3 if one cannot be read");
    add_shop_option(*look, command->shop);
    look->add_flag("--json", command->json, "For machines");
    look->footer("Example: bindhue shop check");
    look->callback([command, &exit_code] { exit_code = command->look(); });
    CLI::App* back = shop->add_subcommand("restore", "Put the version before of a file back; nothing is deleted");
    back->add_option("file", command->files, "As shop check names it (default: each that cannot be read)");
    add_shop_option(*back, command->shop);
    back->footer("Example: bindhue shop restore spools.json");
    back->callback([command, &exit_code] { exit_code = command->put_back(); });
}

}  // namespace bindhue::capture::cli

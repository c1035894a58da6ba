#include "cli/rack.hpp"

#include "shop/coat_tests.hpp"
#include "shop/shop.hpp"

namespace bindhue::capture::cli {

void add_shop_option(CLI::App& command, std::string& folder) {
    command.add_option("--shop", folder, "Folder of the shop (default: under your data directory)");
}

Result<std::filesystem::path> shop_folder(const std::string& folder) {
    return folder.empty() ? default_shop_folder() : std::filesystem::path(folder);
}

Result<SpoolFile> spools_of(const std::string& folder) {
    const Result<std::filesystem::path> where = shop_folder(folder);
    if (!where) return where.error();
    const Result<Shop> shop = Shop::open(*where, Access::read);
    if (!shop) return shop.error();
    return shop->spools();
}

Result<CoatModel> coat_model_of(const std::string& folder) {
    const Result<std::filesystem::path> where = shop_folder(folder);
    if (!where) return where.error();
    const Result<CoatTestFile> file = load_coat_tests(*where);
    if (!file) return file.error();
    return CoatModel(file->tests());
}

std::string rests_on(std::size_t coat_tests) { return coat_tests == 0 ? "prior" : std::to_string(coat_tests); }

std::string rests_on_in_words(bool some, bool others) {
    std::string out;
    if (some) out += "tests: coat tests of this shop, of that material and schedule, that the finished look rests on.\n";
    if (others)
        out += "prior: no coat test of that material and schedule yet, so the finished look is reckoned from optics alone (see bindhue "
               "coat add).\n";
    return out;
}

}  // namespace bindhue::capture::cli

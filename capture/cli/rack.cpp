#include "cli/rack.hpp"

#include "shop/coat_tests.hpp"

namespace bindhue::capture::cli {

void add_shop_option(CLI::App& command, std::string& folder) {
    command.add_option("--shop", folder, "Folder of the shop (default: under your data directory)");
}

Result<std::filesystem::path> shop_folder(const std::string& folder) {
    return folder.empty() ? default_shop_folder() : std::filesystem::path(folder);
}

Result<Shop> open_shop(const std::string& folder, Access access) {
    const Result<std::filesystem::path> where = shop_folder(folder);
    if (!where) return where.error();
    return Shop::open(*where, access);
}

Result<SpoolFile> spools_of(const std::string& folder) {
    const Result<std::filesystem::path> where = shop_folder(folder);
    if (!where) return where.error();
    return load_spools(*where);
}

Result<CoatModel> coat_model_of(const std::string& folder) {
    const Result<std::filesystem::path> where = shop_folder(folder);
    if (!where) return where.error();
    return load_coat_model(*where);
}

Result<Material> material_of(const std::string& option) {
    Result<Material> out = parse_material(option);
    if (!out) return Error{out.error().reason, out.error().what, "--material", out.error().mend};
    return out;
}

std::string rests_on(std::size_t coat_tests) { return coat_tests == 0 ? "prior" : std::to_string(coat_tests); }

std::string rests_on_in_words(bool some, bool others) {
    std::string out;
    if (some) out += "tests: coat tests of this shop, of that material and schedule, that the finished look rests on.\n";
    if (others)
        out += "prior: no coat test of that material and schedule yet, so the finished look is reckoned from optics and from what tests of "
               "other kinds let guess (see bindhue coat add).\n";
    return out;
}

}  // namespace bindhue::capture::cli

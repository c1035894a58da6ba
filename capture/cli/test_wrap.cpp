#include <filesystem>

#include "cli/coat.hpp"
#include "cli/rack.hpp"
#include "reading/test_wrap.hpp"
#include "shop/numbers.hpp"

namespace bindhue::capture::cli {
namespace {

// Numbers that somebody typed are taken as read by an instrument: give or take 0.3 on each axis (a guess).
Reading typed(const std::vector<double>& lab) {
    return {Lab<D50>::from({lab[0], lab[1], lab[2]}), Matrix3::diagonal({0.09, 0.09, 0.09}), {}};
}

}  // namespace

void TestWrapArguments::add_to(CLI::App& command) {
    command.add_option("--before", before, "The test wrap dry, over its ground: a photo, or L,a,b; several photos of it combine")
        ->allow_extra_args(false);
    command.add_option("--after", after, "The same wrap when the coat has cured: a photo, or L,a,b")->allow_extra_args(false);
    command.add_option("--before-band", before_band, "Number of its band in the photo before, as bindhue read lists them (default: the longest wrap)")
        ->check(CLI::PositiveNumber);
    command.add_option("--after-band", after_band, "Number of its band in the photo after (default: the wrap in the same place)")
        ->check(CLI::PositiveNumber);
    command.add_option("--spool", spool, "Code of the spool, which says material and size");
    command.add_option("--material", material, "nylon, ncp-nylon, polyester, ncp-polyester, silk, metallic or monofilament");
    command.add_option("--size-mm", size_mm, "Diameter of the thread")
        ->check(CLI::Range(min_thread_mm, max_thread_mm))
        ->capture_default_str();
    command.add_option("--schedule", schedule, "What was put on: finish or preserver+finish");
    finish.add_to(command);
    command.add_option("--ground", ground,
                       "What lies under the thread: blank (default: the bare blank in the photo before), white, dark, underwrap:CODE or L,a,b");
    photo.add_card_to(command);
}

std::optional<std::string> TestWrapArguments::misuse() const {
    if (before.empty() || after.empty()) return "a test wrap wants both --before and --after, each a photo or L,a,b";
    if (spool.empty() == material.empty()) return "the thread wants either --spool CODE, or --material with --size-mm";
    if (schedule.empty()) return "what was put on wants --schedule: finish or preserver+finish";
    return {};
}

Result<TestWrap> TestWrapArguments::read(const std::string& shop) const {
    TestWrapSaid said{spool, Material::nylon, size_mm, schedule, ground};
    Palette rack;
    if (!spool.empty() || ground.starts_with("underwrap:")) {
        const Result<SpoolFile> spools = spools_of(shop);
        if (!spools) return spools.error();
        rack = spools->palette();
    }
    if (spool.empty()) {
        const Result<Material> known = material_of(material);
        if (!known) return known.error();
        said.material = *known;
    }
    const Result<FinishUse> use = finish.use();
    if (!use) return use.error();
    said.finish = *use;

    std::optional<WrapReading> first, second;
    const auto side = [&](const std::vector<std::string>& given, std::size_t band, const char* option, std::optional<WrapReading>& kept) -> Result<TestWrapSide> {
        if (given.size() == 1)
            if (const auto numbers = parse_numbers(given[0], 3, option)) return TestWrapSide{nullptr, typed(*numbers), band};
        Result<WrapReading> reading = photo.read(given);
        if (!reading) return reading.error();
        kept = std::move(*reading);
        return TestWrapSide{&*kept, {}, band};
    };
    const Result<TestWrapSide> dry = side(before, before_band, "--before", first);
    if (!dry) return dry.error();
    const Result<TestWrapSide> cured = side(after, after_band, "--after", second);
    if (!cured) return cured.error();
    return test_wrap(*dry, *cured, said, rack);
}

std::string TestWrapArguments::source() const {
    const auto named = [](const std::vector<std::string>& given) {
        std::string out;
        for (const std::string& g : given) out += (out.empty() ? "" : ", ") + std::filesystem::path(g).filename().string();
        return out;
    };
    return "test wrap" + (spool.empty() ? std::string() : " of " + spool) + ": before " + named(before) + "; after " + named(after);
}

}  // namespace bindhue::capture::cli

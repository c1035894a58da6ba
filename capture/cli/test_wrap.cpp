#include <algorithm>
#include <filesystem>

#include "cli/coat.hpp"
#include "cli/rack.hpp"
#include "reading/before_after.hpp"
#include "shop/grounds.hpp"
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
    TestWrap out;
    out.size_mm = size_mm;
    Palette rack;
    if (!spool.empty() || ground.starts_with("underwrap:")) {
        const Result<SpoolFile> spools = spools_of(shop);
        if (!spools) return spools.error();
        rack = spools->palette();
    }
    if (!spool.empty()) {
        const auto found = std::find_if(rack.begin(), rack.end(), [&](const Spool& s) { return s.code == spool; });
        if (found == rack.end())
            return Error{Reason::not_found, "no spool has the code \"" + spool + "\"", "--spool", "see bindhue spool list"};
        out.material = found->material;
        out.size_mm = found->size_mm;
        out.opacity = found->opacity;
    } else {
        const Result<Material> known = material_of(material);
        if (!known) return known.error();
        out.material = *known;
    }
    const Result<Schedule> known = parse_schedule(schedule);
    if (!known || *known == Schedule::none)
        return Error{Reason::bad_value, "\"" + schedule + "\" is no coat", "--schedule", "give finish or preserver+finish"};
    out.schedule = *known;
    const Result<FinishUse> use = finish.use();
    if (!use) return use.error();
    out.finish = *use;

    const bool typed_before = before.size() == 1 && parse_numbers(before[0], 3, "--before").has_value(),
               typed_after = after.size() == 1 && parse_numbers(after[0], 3, "--after").has_value();
    std::optional<WrapReading> first, second;
    if (typed_before) {
        out.dry = typed(*parse_numbers(before[0], 3, "--before"));
    } else {
        Result<WrapReading> reading = photo.read(before);
        if (!reading) return reading.error();
        first = std::move(*reading);
    }
    if (typed_after) {
        out.finished = typed(*parse_numbers(after[0], 3, "--after"));
    } else {
        Result<WrapReading> reading = photo.read(after);
        if (!reading) return reading.error();
        second = std::move(*reading);
    }
    if (first || second) {
        // Where one side is numbers the photo's own wraps decide.
        const WrapReading& of_before = first ? *first : *second;
        const WrapReading& of_after = second ? *second : *first;
        const Result<WrapPair> pair = same_wrap(of_before, of_after, first ? before_band : after_band, second ? after_band : before_band);
        if (!pair) return pair.error();
        if (first) out.dry = first->bands[pair->before].colour;
        if (second) out.finished = second->bands[pair->after].colour;
    }
    std::optional<Reading> blank;
    if (first) blank = first->blank();
    if (!blank && ground.empty())
        return Error{Reason::not_found, "what lies under the thread is not known: no bare blank was seen before coating", "--ground",
                     "give the blank's colour as --ground L,a,b"};
    const Result<std::vector<Ground>> under = parse_grounds({ground.empty() ? "blank" : ground}, blank, rack, out.dry.context);
    if (!under) return under.error();
    out.ground = under->front().colour;
    return out;
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

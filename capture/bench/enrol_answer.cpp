#include "bench/enrol_answer.hpp"

#include <optional>
#include <string_view>
#include <vector>

#include "reading/enrolment.hpp"
#include "shop/numbers.hpp"
#include "shop/shop.hpp"
#include "shop/today.hpp"

namespace bindhue::capture::bench {
namespace {

constexpr std::size_t longest_text = 100;

std::optional<std::string> said(const Query& form, const char* field) {
    std::string text = one_of(form, field);
    if (text.empty()) return std::nullopt;
    return text.substr(0, longest_text);
}

Result<std::optional<double>> number_said(const Query& form, const char* field, const char* called) {
    const std::optional<std::string> text = said(form, field);
    if (!text) return std::optional<double>();
    const auto numbers = parse_numbers(*text, 1, field);
    if (!numbers) return Error{Reason::bad_value, std::string("the ") + called + " is no number", field, "write it as 0.15"};
    return std::optional(numbers->front());
}

Result<SpoolParticulars> particulars(const Query& form) {
    SpoolParticulars out;
    out.name = said(form, "name");
    out.size = said(form, "size");
    out.lot = said(form, "lot");
    if (const auto word = said(form, "material")) {
        const Result<Material> material = parse_material(*word);
        if (!material) return material.error();
        out.material = *material;
    }
    const auto size = number_said(form, "size_mm", "thread's diameter"), left = number_said(form, "metres_left", "length left");
    if (!size) return size.error();
    if (!left) return left.error();
    out.size_mm = *size;
    out.metres_left = *left;
    return out;
}

Result<std::vector<BandOfSpool>> bands(const Query& form, const WrapReading& reading) {
    std::vector<BandOfSpool> out;
    const auto [first, last] = form.equal_range("spool");
    for (auto at = first; at != last; ++at) {
        const std::string_view text = at->second;
        const std::size_t bar = std::min(text.find('|'), text.size());
        const auto number = whole_number(text.substr(0, bar));
        if (!number || *number < 1 || *number > reading.bands.size() || bar + 1 >= text.size() || text.size() > longest_text)
            return Error{Reason::bad_value, "a spool can't be read", "spool", "write its code beside the band again"};
        out.push_back({*number - 1, std::string(text.substr(bar + 1))});
    }
    if (out.empty()) return Error{Reason::bad_value, "no spool is named", "spool", "write the code of its spool beside each band of thread"};
    return out;
}

}  // namespace

Result<Answer> enrol_answer(const DoneReading& done, const std::filesystem::path& shop, const Query& form) {
    const Result<std::vector<BandOfSpool>> of = bands(form, done.reading);
    if (!of) return of.error();
    const Result<SpoolParticulars> new_ones = particulars(form);
    if (!new_ones) return new_ones.error();
    std::string source;
    for (const auto& photo : done.photos) source.append(source.empty() ? "photo " : ", ").append(photo->name.empty() ? "of the bench page" : photo->name);

    const Result<Shop> opened = Shop::open(shop, Access::change);
    if (!opened) return opened.error();
    Result<SpoolFile> rack = opened->spools();
    if (!rack) return rack.error();
    const Result<Enrolment> enrolled = enrol(*rack, to_enrol(done.reading, *of, source, today()), *new_ones, one_of(form, "changed") == "1");
    if (!enrolled) return enrolled.error();
    if (enrolled->kept)
        if (const Status saved = opened->save(*rack); !saved) return saved.error();
    Answer out = to_json(done.reading, *of, *enrolled);
    for (std::size_t i = 0; i < of->size(); ++i) out["spools"][i]["screen"] = on_screen(done.reading.bands[(*of)[i].band].colour.lab);
    out["refused"] = enrolled->kept ? Answer(nullptr) : error_answer(drift_refusal(*of, *enrolled, "tick that it has changed, and keep it"));
    return out;
}

}  // namespace bindhue::capture::bench

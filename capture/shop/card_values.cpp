#include "shop/card_values.hpp"

#include <algorithm>
#include <string_view>

#include "colour/difference.hpp"

namespace bindhue::capture {
namespace {

std::string in_words(const CardProvenance& from, Trust trust) {
    std::string out = trust == Trust::assigned ? "read beside " + from.target + ": " : "measured: ";
    out += from.file;
    for (const std::string* part : {&from.colours, &from.instrument, &from.descriptor, &from.date})
        if (!part->empty()) out += ", " + *part;
    return out;
}

}  // namespace

std::string listed(const std::vector<std::string>& ids) {
    constexpr std::size_t shown = 20;
    std::string out;
    for (std::size_t i = 0; i < std::min(ids.size(), shown); ++i) out.append(i > 0 ? ", " : "").append(ids[i], 0, 40);
    if (ids.size() > shown) out += " and " + std::to_string(ids.size() - shown) + " more";
    return out;
}

std::string name_of_print(const CardLayout& card, Trust trust, const std::string& date) {
    constexpr std::size_t date_size = 10;
    std::string design = card.name;
    for (const std::string_view given : {", measured ", ", assigned "}) {
        const std::size_t at = design.size() < given.size() + date_size ? std::string::npos : design.size() - given.size() - date_size;
        if (at != std::string::npos && design.compare(at, given.size(), given) == 0) design.erase(at);
    }
    return design + ", " + std::string(name(trust)) + " " + date;
}

Result<CardLayout> with_values(const CardLayout& card, const CardValues& values, const std::string& name) {
    CardLayout out = card;
    std::vector<bool> given(card.patches.size());
    for (const PatchValue& value : values.patches) {
        const CardPatch* known = card.patch(value.id);
        const std::string where = "patch " + value.id.substr(0, 40);
        if (!known) return Error{Reason::bad_value, "The card has no such patch.", where, "Check that this is the right card."};
        if (known->role == PatchRole::trap)
            return Error{Reason::bad_value, "A trap is a hole and has no value of its own.", where, "Leave it out."};
        const auto index = static_cast<std::size_t>(known - card.patches.data());
        if (given[index]) return Error{Reason::bad_value, "Its value is given twice.", where, "Give each patch one value."};
        given[index] = true;
        CardPatch& patch = out.patches[index];
        patch.lab = value.lab;
        patch.covariance = value.covariance;
        patch.spectrum = value.spectrum;
    }
    std::vector<std::string> missing;
    for (std::size_t i = 0; i < given.size(); ++i)
        if (!given[i] && card.patches[i].role != PatchRole::trap) missing.push_back(card.patches[i].id);
    if (!missing.empty())
        return Error{Reason::bad_value, std::to_string(missing.size()) + " of the card's patches have no value: " + listed(missing) + ".", values.from.file,
                     "Give each patch but the traps a value."};
    out.trust = values.trust;
    out.values_from = values.from;
    out.source = in_words(values.from, values.trust);
    out.name = name.empty() ? name_of_print(card, values.trust, values.from.date) : name;
    // What can't be read again must not be written.
    const Result<std::string> text = write_card_layout(out);
    if (!text) return text.error();
    if (const Result<CardLayout> back = read_card_layout(*text, "the card"); !back) return back.error();
    return out;
}

std::vector<PatchChange> changes(const CardLayout& before, const CardLayout& after) {
    std::vector<PatchChange> out;
    for (std::size_t i = 0; i < before.patches.size(); ++i) {
        const CardPatch &one = before.patches[i], &other = after.patches[i];
        if (one.role != PatchRole::trap) out.push_back({one.id, one.lab, other.lab, ciede2000(one.lab, other.lab)});
    }
    std::stable_sort(out.begin(), out.end(), [](const PatchChange& x, const PatchChange& y) { return x.delta_e > y.delta_e; });
    return out;
}

double median_change(const std::vector<PatchChange>& changes) { return changes.empty() ? 0.0 : changes[changes.size() / 2].delta_e; }

}  // namespace bindhue::capture

#include "shop/patch_table.hpp"

#include <algorithm>
#include <cctype>
#include <cmath>
#include <set>

#include "shop/card_layout.hpp"
#include "shop/csv.hpp"

namespace bindhue::capture {
namespace {

constexpr double largest_grey_chroma = 4;
constexpr double furthest_mm = 10'000;

std::string lower_word(std::string_view text) {
    std::string out;
    for (const char c : text)
        if (c != ' ' && c != '\t') out += static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
    return out;
}

Result<bool> flag(const CsvTable& table, std::size_t row, std::string_view column) {
    const std::string word = lower_word(table.text(row, column));
    for (const std::string_view yes : {"1", "true", "yes"})
        if (word == yes) return true;
    for (const std::string_view no : {"", "0", "false", "no"})
        if (word == no) return false;
    return table.error(row, column, "This is neither yes nor no.", "Write 1 or 0.");
}

Result<Vector3> rgb_of(const CsvTable& table, std::size_t row, double at_least, double at_most) {
    constexpr std::array<std::string_view, 3> columns{"R", "G", "B"};
    Vector3 out{};
    for (std::size_t i = 0; i < 3; ++i) {
        const Result<double> value = table.number(row, columns[i], at_least, at_most);
        if (!value) return value.error();
        out[i] = *value;
    }
    return out;
}

Result<PatchSample> read_row(const CsvTable& table, std::size_t row, bool linear) {
    PatchSample patch;
    patch.id = table.text(row, "id");
    if (patch.id.empty()) return table.error(row, "id", "The patch has no id.", "Give it one.");
    const Result<Vector3> rgb = linear ? rgb_of(table, row, -1e6, 1e6) : rgb_of(table, row, 0, 1);
    if (!rgb) {
        Error error = rgb.error();
        if (error.what.find("out of range") != std::string::npos)
            error.mend += " Divide whole-number values by their full scale (255 or 65535).";
        return error;
    }
    patch.rgb = *rgb;
    const Result<Lab<D50>> lab = table.lab(row);
    if (!lab) return lab.error();
    patch.reference = *lab;

    if (table.has("x_mm") && !(table.text(row, "x_mm").empty() && table.text(row, "y_mm").empty())) {
        const Result<double> x = table.number(row, "x_mm", -furthest_mm, furthest_mm);
        if (!x) return x.error();
        const Result<double> y = table.number(row, "y_mm", -furthest_mm, furthest_mm);
        if (!y) return y.error();
        patch.place = CardPoint{*x, *y};
    }
    if (table.has("clipped")) {
        const Result<bool> clipped = flag(table, row, "clipped");
        if (!clipped) return clipped.error();
        patch.clipped = *clipped;
    }
    const std::string role = table.has("role") ? lower_word(table.text(row, "role")) : std::string();
    if (role.empty())
        patch.role = std::hypot(patch.reference.a, patch.reference.b) <= largest_grey_chroma
                         ? PatchRole::grey
                         : PatchRole::colour;
    else if (!parse_patch_role(role, patch.role))
        return table.error(row, "role", "This role is not known.",
                           "Write grey, colour, check, trap or nothing.");
    return patch;
}

}  // namespace

Result<std::vector<PatchSample>> read_patch_table(std::string_view text, const std::string& where,
                                                  bool linear) {
    const Result<CsvTable> table = read_csv(text, where);
    if (!table) return table.error();
    const Status complete = table->require({"id", "R", "G", "B", "L", "a", "b"});
    if (!complete) return complete.error();
    if (table->has("x_mm") != table->has("y_mm"))
        return Error{Reason::bad_format, "Only one of the columns x_mm and y_mm is there.", where,
                     "Give both or neither."};
    std::vector<PatchSample> patches;
    std::set<std::string> ids;
    for (std::size_t row = 0; row < table->rows(); ++row) {
        Result<PatchSample> patch = read_row(*table, row, linear);
        if (!patch) return patch.error();
        if (!ids.insert(patch->id).second)
            return table->error(row, "id", "Patch " + patch->id + " is there twice.",
                                "Give each patch another id.");
        patches.push_back(std::move(*patch));
    }
    return patches;
}

}  // namespace bindhue::capture

// A print's own values as an instrument's program writes them: CGATS text (shop/cgats.hpp), and the list of patches to measure.
//
// A set is one patch, by its id in SAMPLE_ID (or another field). Spectra are kept and the colour is reckoned from them; else LAB or XYZ for D50
// and the 2-degree observer (shop/cgats_colour.hpp). STDEV_L, STDEV_A and STDEV_B become the value's covariance, as they are: the scatter of
// single measurements of the patch.
#pragma once

#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "colour/result.hpp"
#include "shop/card_values.hpp"

namespace bindhue::capture {

// How the file's samples are told apart.
struct SampleNames {
    std::string field = "SAMPLE_ID";
    std::map<std::string, std::string> of_patch;  // the sample of a patch; a patch that is not here has its own id
};

// A table with the columns `patch` and `sample`. Errors: bad_format, bad_value, with the line: a patch that the card has not, or one that is
// there twice.
Result<std::map<std::string, std::string>> read_sample_names(std::string_view text, const std::string& where, const CardLayout& card);

// Trust is measured; `from` says what the file says of itself, its name without folders, and `date`. Samples that are no patch of the card, and
// those of its traps, are passed over, with a note. Errors: besides those of read_cgats and read_cgats_colours: no such field; a sample that a
// patch is to have is there twice; patches without a sample, all of them told.
Result<CardValues> read_card_cgats(std::string_view text, const std::string& where, const CardLayout& card, const SampleNames& names,
                                   const std::string& date, std::vector<std::string>& notes);

// What to measure, in the layout's order, without a value: SAMPLE_ID and what the patch is for. Error: bad_value for an id that CGATS can't hold.
Result<std::string> write_patch_list(const CardLayout& card);

}  // namespace bindhue::capture

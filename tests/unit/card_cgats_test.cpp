#include "shop/card_cgats.hpp"

#include <lcms2.h>

#include <catch2/catch.hpp>
#include <memory>
#include <sstream>

#include "colour/difference.hpp"
#include "shop/cgats.hpp"
#include "support/source_dir.hpp"

using namespace bindhue;
using namespace bindhue::capture;
using Catch::Matchers::Contains;

namespace {

const std::string d50 = "CGATS.17\nWEIGHTING_FUNCTION \"ILLUMINANT, D50\"\nWEIGHTING_FUNCTION \"OBSERVER, 2 degree\"\n";
const std::string about = "INSTRUMENTATION \"invented 45:0\"\nDESCRIPTOR \"third print\"\nCREATED \"12 November\"\n";

std::string file(const std::string& keywords, const std::string& fields, const std::string& sets) {
    return keywords + "BEGIN_DATA_FORMAT\n" + fields + "\nEND_DATA_FORMAT\nBEGIN_DATA\n" + sets + "END_DATA\n";
}

// One set for each patch but the traps: `values` follow its id.
std::string sets_of(const CardLayout& card, const std::function<std::string(const CardPatch&)>& values) {
    std::string out;
    for (const CardPatch& p : card.patches)
        if (p.role != PatchRole::trap) out += p.id + " " + values(p) + "\n";
    return out;
}

std::string lab_text(const CardPatch& p) {
    std::ostringstream out;
    out << p.lab.L - 1 << " " << p.lab.a + 0.5 << " " << p.lab.b;
    return out.str();
}

struct Read {
    Result<CardValues> values;
    std::vector<std::string> notes;
};

Read read(const std::string& text, const SampleNames& names = {}, const CardLayout& card = bench_card()) {
    std::vector<std::string> notes;
    Result<CardValues> values = read_card_cgats(text, "some/folder/m.txt", card, names, "2026-11-26", notes);
    return {std::move(values), notes};
}

std::string refused(const std::string& text, const SampleNames& names = {}) {
    const Read r = read(text, names);
    REQUIRE_FALSE(r.values);
    CHECK_FALSE(r.values.error().mend.empty());
    return r.values.error().where + " | " + r.values.error().what + " | " + r.values.error().mend;
}

}  // namespace

TEST_CASE("A card's patches take the Lab values of an instrument's file, with what the file says of itself") {
    const CardLayout card = bench_card();
    const Read r = read(file(d50 + about, "SAMPLE_ID LAB_L LAB_A LAB_B STDEV_L STDEV_A STDEV_B",
                             sets_of(card, [](const CardPatch& p) { return lab_text(p) + " 0.1 0.2 0.3"; })));
    REQUIRE(r.values);
    CHECK(r.notes.empty());
    CHECK(r.values->trust == Trust::measured);
    CHECK(r.values->patches.size() == 70);
    CHECK(r.values->from.file == "m.txt");
    CHECK(r.values->from.colours == "Lab");
    CHECK(r.values->from.instrument == "invented 45:0");
    CHECK(r.values->from.descriptor == "third print");
    CHECK(r.values->from.created == "12 November");
    CHECK(r.values->from.date == "2026-11-26");
    CHECK(r.values->patches[0].id == "A1");
    CHECK(r.values->patches[0].lab.L == 86);
    CHECK(r.values->patches[0].lab.a == -0.5);
    REQUIRE(r.values->patches[0].covariance);
    CHECK((*r.values->patches[0].covariance)(2, 2) == Approx(0.09));
    CHECK_FALSE(r.values->patches[0].spectrum);
}

TEST_CASE("A virtual instrument's spectra come back as they were, with their colour") {
    // samples/card.json is the card of the sample photos as samples/render, which shares no colour code with the library, gives it.
    const auto measured = load_card_layout(in_source("samples/card.json"));
    REQUIRE(measured);
    std::string fields = "SAMPLE_ID";
    for (int nm = 380; nm <= 780; nm += 5) fields += " SPECTRAL_DEC" + std::to_string(nm);
    const Read r = read(file(d50, fields, sets_of(*measured, [](const CardPatch& p) {
        std::ostringstream out;
        for (const double v : p.spectrum->values) out << v << " ";
        return out.str();
    })));
    REQUIRE(r.values);
    CHECK(r.notes.empty());
    CHECK(r.values->from.colours == "spectra");
    const auto card = with_values(bench_card(), *r.values);
    REQUIRE(card);
    for (const CardPatch& p : card->patches) {
        const CardPatch* truth = measured->patch(p.id);
        REQUIRE(truth);
        if (p.role == PatchRole::trap) continue;
        REQUIRE(p.spectrum);
        CHECK(p.spectrum->values == truth->spectrum->values);
        CHECK(ciede2000(p.lab, truth->lab) < 0.02);  // the file has two decimals
    }
}

TEST_CASE("XYZ for D50 becomes Lab") {
    // Of a perfect white in the 2-degree observer, as ICC.1 and CIE 15 have it: L* 100, a* and b* 0.
    const CardLayout card = bench_card();
    const Read r = read(file(d50, "SAMPLE_ID XYZ_X XYZ_Y XYZ_Z", sets_of(card, [](const CardPatch&) { return "96.422 100 82.521"; })));
    REQUIRE(r.values);
    CHECK(r.values->from.colours == "XYZ");
    CHECK(r.values->patches[3].lab.L == Approx(100));
    CHECK(std::abs(r.values->patches[3].lab.a) < 0.01);
    CHECK(std::abs(r.values->patches[3].lab.b) < 0.01);
}

TEST_CASE("Colours for another light or observer are refused unless there are spectra, which then count") {
    const CardLayout card = bench_card();
    const std::string d65 = "CGATS.17\nWEIGHTING_FUNCTION \"ILLUMINANT, D65\"\nWEIGHTING_FUNCTION \"OBSERVER, 2 degree\"\n";
    CHECK_THAT(refused(file(d65, "SAMPLE_ID LAB_L LAB_A LAB_B", sets_of(card, lab_text))), Contains("D65"));
    std::string fields = "SAMPLE_ID LAB_L LAB_A LAB_B", greys;
    for (int nm = 400; nm <= 700; nm += 20) {
        fields += " SPECTRAL_NM" + std::to_string(nm);
        greys += " 18.418651851244416";
    }
    const auto sets = sets_of(card, [&](const CardPatch&) { return "50 20 20" + greys; });
    for (const std::string& keywords : {d65, d50}) {
        const Read r = read(file(keywords, fields, sets));
        REQUIRE(r.values);
        CHECK(r.values->patches[0].lab.L == Approx(50).margin(1e-6));  // CIE 15: Y = 0.184187 is L* 50
        CHECK(std::abs(r.values->patches[0].lab.b) < 0.01);
        const bool told = std::any_of(r.notes.begin(), r.notes.end(), [](const auto& n) { return n.find("the spectra are taken") != std::string::npos; });
        CHECK(told == (keywords == d50));
    }
}

TEST_CASE("Patches without a sample are all told, and how to name samples otherwise") {
    CardLayout card = bench_card();
    std::string sets = sets_of(card, lab_text);
    sets.replace(sets.find("A1 "), 2, "Z9");
    sets.replace(sets.find("F12 "), 3, "Z8");
    const std::string message = refused(file(d50, "SAMPLE_ID LAB_L LAB_A LAB_B", sets));
    CHECK_THAT(message, Contains("2 of the card's patches have no sample: A1, F12."));
    CHECK_THAT(message, Contains("--map"));
    CHECK_THAT(refused(file(d50, "SAMPLE_NAME LAB_L LAB_A LAB_B", sets)), Contains("SAMPLE_ID") && Contains("--id"));

    const Read by_name = read(file(d50, "SAMPLE_NAME LAB_L LAB_A LAB_B", sets_of(card, lab_text)), {"sample_name", {}});
    CHECK(by_name.values);
    const auto map = read_sample_names("patch,sample\nA1,Z9\nF12,Z8\n", "map.csv", card);
    REQUIRE(map);
    const Read mapped = read(file(d50, "SAMPLE_ID LAB_L LAB_A LAB_B", sets), {"SAMPLE_ID", *map});
    REQUIRE(mapped.values);
    CHECK(mapped.values->patches[0].id == "A1");
}

TEST_CASE("A map that names patches wrongly is refused with its line") {
    const CardLayout card = bench_card();
    for (const auto& [text, what] : {std::pair{"patch,sample\nA1,1\nQ9,2\n", "no such patch"}, {"patch,sample\nA1,1\nA1,2\n", "twice"}, {"patch,sample\nA1,\n", "no name"}}) {
        const auto map = read_sample_names(text, "map.csv", card);
        REQUIRE_FALSE(map);
        CHECK_THAT(map.error().where, Contains("map.csv: line "));
        CHECK_THAT(map.error().what, Contains(what));
    }
    CHECK_FALSE(read_sample_names("id,sample\nA1,1\n", "map.csv", card));
}

TEST_CASE("A sample that is there twice, or is to be two patches, is refused, and others are passed over") {
    const CardLayout card = bench_card();
    const std::string sets = sets_of(card, lab_text);
    CHECK_THAT(refused(file(d50, "SAMPLE_ID LAB_L LAB_A LAB_B", sets + "B2 1 2 3\n")), Contains("line 78") && Contains("B2 is there twice"));
    CHECK_THAT(refused(file(d50, "SAMPLE_ID LAB_L LAB_A LAB_B", sets), {"SAMPLE_ID", {{"A1", "A2"}}}), Contains("A2 is to be two patches"));
    const Read more = read(file(d50, "SAMPLE_ID LAB_L LAB_A LAB_B", sets + "paper 94 0 1\nC7 1 0 0\n"));
    REQUIRE(more.values);
    REQUIRE(more.notes.size() == 2);
    CHECK_THAT(more.notes[0], Contains("C7 is a trap"));
    CHECK_THAT(more.notes[1], Contains("1 samples"));
    // Only a patch's own sample has to be there once.
    CHECK(read(file(d50, "SAMPLE_ID LAB_L LAB_A LAB_B", sets + "paper 94 0 1\npaper 94 0 1\n")).values);
}

TEST_CASE("A wrong number is refused with its line and field") {
    std::string sets = sets_of(bench_card(), lab_text);
    sets.replace(sets.find("A3 45"), 5, "A3 4x");
    CHECK_THAT(refused(file(d50, "SAMPLE_ID LAB_L LAB_A LAB_B", sets)), Contains("m.txt: line 10") && Contains("LAB_L") && Contains("4x"));
}

TEST_CASE("The list of patches is CGATS that Little CMS reads, and holds nothing that could pass for measurements") {
    // Little CMS 2, cmscgats.c: an implementation that is not ours.
    const CardLayout card = bench_card();
    const auto list = write_patch_list(card);
    REQUIRE(list);
    const std::unique_ptr<void, void (*)(void*)> it8(cmsIT8LoadFromMem(nullptr, list->data(), static_cast<cmsUInt32Number>(list->size())), cmsIT8Free);
    REQUIRE(it8);
    CHECK(cmsIT8GetPropertyDbl(it8.get(), "NUMBER_OF_SETS") == 70);
    CHECK(cmsIT8GetDataRowCol(it8.get(), 0, cmsIT8FindDataFormat(it8.get(), "SAMPLE_ID")) == std::string("A1"));
    CHECK_THAT(refused(*list), Contains("no fields of a colour"));
}

TEST_CASE("What Little CMS writes for the list's patches gives the card its values") {
    const CardLayout card = bench_card();
    const std::unique_ptr<void, void (*)(void*)> it8(cmsIT8Alloc(nullptr), cmsIT8Free);
    REQUIRE(cmsIT8SetSheetType(it8.get(), "CGATS.17"));
    cmsIT8SetPropertyStr(it8.get(), "INSTRUMENTATION", "invented");
    cmsIT8SetPropertyDbl(it8.get(), "NUMBER_OF_SETS", 70);
    cmsIT8SetPropertyDbl(it8.get(), "NUMBER_OF_FIELDS", 4);
    for (const auto& [i, field] : {std::pair{0, "SAMPLE_ID"}, {1, "LAB_L"}, {2, "LAB_A"}, {3, "LAB_B"}}) cmsIT8SetDataFormat(it8.get(), i, field);
    int row = 0;
    for (const CardPatch& p : card.patches) {
        if (p.role == PatchRole::trap) continue;
        cmsIT8SetDataRowCol(it8.get(), row, 0, p.id.c_str());
        for (int k = 0; k < 3; ++k) cmsIT8SetDataRowColDbl(it8.get(), row, k + 1, p.lab.vector()[static_cast<std::size_t>(k)] * 0.9);
        ++row;
    }
    cmsUInt32Number size = 0;
    REQUIRE(cmsIT8SaveToMem(it8.get(), nullptr, &size));
    std::string text(size, '\0');
    REQUIRE(cmsIT8SaveToMem(it8.get(), text.data(), &size));
    text.resize(text.find_last_of('\n') + 1);
    const Read r = read(text);
    REQUIRE(r.values);
    CHECK(r.values->from.instrument == "invented");
    for (const PatchValue& v : r.values->patches) CHECK(v.lab.L == Approx(0.9 * card.patch(v.id)->lab.L));
    CHECK_THAT(r.notes.at(0), Contains("does not say for which light"));
}

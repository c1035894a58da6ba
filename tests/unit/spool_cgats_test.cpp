#include "shop/spool_cgats.hpp"

#include <lcms2.h>

#include <catch2/catch.hpp>
#include <filesystem>
#include <memory>
#include <random>

#include "colour/difference.hpp"
#include "support/source_dir.hpp"

using namespace bindhue;
using namespace bindhue::capture;
using Catch::Matchers::Contains;

namespace {

const std::filesystem::path palettes = in_source("palettes");
const SpoolDefaults nylon{Material::nylon, 0.15, std::nullopt};
const std::string d50 = "CGATS.17\nWEIGHTING_FUNCTION \"ILLUMINANT, D50\"\nWEIGHTING_FUNCTION \"OBSERVER, 2 degree\"\n";

std::string file(const std::string& keywords, const std::string& fields, const std::string& sets) {
    return keywords + "BEGIN_DATA_FORMAT\n" + fields + "\nEND_DATA_FORMAT\nBEGIN_DATA\n" + sets + "END_DATA\n";
}

std::string refused(const std::string& text, const SpoolDefaults& defaults = nylon) {
    const auto table = read_spool_cgats(text, "t.txt", defaults);
    REQUIRE_FALSE(table);
    CHECK_FALSE(table.error().mend.empty());
    return table.error().where + " | " + table.error().what;
}

// The demo rack with numbers that no short decimal holds, and texts that need quotes.
SpoolFile odd_rack() {
    auto rack = load_spool_file(palettes / "demo-shop" / "spools.json");
    REQUIRE(rack);
    std::mt19937 random(7);
    std::uniform_real_distribution<double> part(0, 1);
    for (SpoolEntry& e : rack->entries) {
        e.spool.code = "0" + e.spool.code;
        e.spool.name += " \"dark\" # deep";
        e.spool.lot = "it's 7";
        e.spool.size = "00";
        e.metres_left = part(random) / 3;
        Reading& r = e.spool.readings[0];
        r.lab.a += part(random) / 7;
        r.covariance = Matrix3::diagonal({1e-7 * part(random), part(random) + 0.1, part(random) + 0.1});
        r.covariance(1, 2) = r.covariance(2, 1) = 0.01 * part(random);
        r.shared = 0.3 * r.covariance;
        r.context = {"phone", "bench card, second print", "Tageslicht, tr\xC3\xBC"
                                                          "b"};
        e.past.push_back({r, {"before", "2020-01-01", ""}});
        e.past.back().reading.lab.L += 1;
    }
    return *rack;
}

}  // namespace

TEST_CASE("A rack written as CGATS and read back is the same to the last digit") {
    const SpoolFile rack = odd_rack();
    const auto text = write_spool_cgats(rack);
    REQUIRE(text);
    const auto back = read_spool_cgats(*text, "back.cgats");
    REQUIRE(back);
    CHECK(back->warnings.empty());
    SpoolFile again = rack;
    again.entries = back->entries;
    CHECK(*write_spool_file(again) == *write_spool_file(rack));
}

TEST_CASE("A rack of more readings than one table holds comes back whole") {
    SpoolFile rack;
    for (int i = 0; i < 30'002; ++i) {
        SpoolEntry entry;
        entry.spool.code = "T" + std::to_string(i);
        entry.spool.readings = {{{50, 0, i / 1000.0}, Matrix3::identity(), {}}};
        rack.entries.push_back(std::move(entry));
    }
    const auto text = write_spool_cgats(rack);
    REQUIRE(text);
    const auto back = read_spool_cgats(*text, "back.cgats");
    REQUIRE(back);
    REQUIRE(back->entries.size() == 30'002);
    CHECK(back->entries.back().spool.readings[0].lab.b == 30.001);
}

TEST_CASE("Little CMS reads what we write") {
    // Little CMS 2, cmscgats.c: an implementation that is not ours. It keeps ten digits of a number.
    const SpoolFile rack = odd_rack();
    const auto text = write_spool_cgats(rack);
    REQUIRE(text);
    const std::unique_ptr<void, void (*)(void*)> it8(cmsIT8LoadFromMem(nullptr, text->data(), static_cast<cmsUInt32Number>(text->size())), cmsIT8Free);
    REQUIRE(it8);
    CHECK(cmsIT8GetPropertyMulti(it8.get(), "WEIGHTING_FUNCTION", "ILLUMINANT") == std::string("D50"));
    for (std::size_t i = 0; i < rack.entries.size(); ++i) {
        const Spool& spool = rack.entries[i].spool;
        const int row = 2 * static_cast<int>(i);  // a past reading follows each
        const auto field = [&](const char* name) { return cmsIT8FindDataFormat(it8.get(), name); };
        CHECK(cmsIT8GetDataRowCol(it8.get(), row, field("SAMPLE_ID")) == spool.code);
        CHECK(cmsIT8GetDataRowCol(it8.get(), row, field("SAMPLE_NAME")) == spool.name);
        CHECK(cmsIT8GetDataRowCol(it8.get(), row, field("THREAD_SIZE")) == std::string("00"));
        CHECK(cmsIT8GetDataRowColDbl(it8.get(), row, field("LAB_L")) == Approx(spool.readings[0].lab.L).epsilon(1e-9));
        CHECK(cmsIT8GetDataRowColDbl(it8.get(), row, field("LAB_A")) == Approx(spool.readings[0].lab.a).epsilon(1e-9));
        CHECK(cmsIT8GetDataRowColDbl(it8.get(), row, field("VAR_L")) == Approx(spool.readings[0].covariance(0, 0)).epsilon(1e-9));
    }
}

TEST_CASE("Material and size come from options, keywords or fields, and deviations from their fields") {
    const std::string sets = "0123 41 30 20 0.1 0.2 0.3\n";
    const std::string fields = "SAMPLE_ID LAB_L LAB_A LAB_B STDEV_L STDEV_A STDEV_B";
    const auto options = read_spool_cgats(file(d50, fields, sets), "t.txt", nylon);
    REQUIRE(options);
    CHECK(options->warnings.empty());
    const Spool& spool = options->entries.at(0).spool;
    CHECK(spool.code == "0123");
    CHECK(spool.material == Material::nylon);
    CHECK(spool.size_mm == 0.15);
    CHECK(spool.readings[0].covariance(2, 2) == Approx(0.09));
    const auto keywords =
        read_spool_cgats(file(d50 + "THREAD_MATERIAL silk\nTHREAD_SIZE_MM 0.1\nINSTRUMENTATION \"an instrument\"\n", fields, sets), "t.txt", nylon);
    REQUIRE(keywords);
    CHECK(keywords->entries.at(0).spool.material == Material::silk);
    CHECK(keywords->entries.at(0).spool.size_mm == 0.1);
    CHECK(keywords->entries.at(0).notes.at(0).source == "an instrument");
    const auto named = read_spool_cgats(file(d50, "THREAD_MATERIAL SAMPLE_ID LAB_L LAB_A LAB_B C", "silk A 41 30 20 9\n"), "t.txt", {std::nullopt, 0.2, 0.5});
    REQUIRE(named);
    CHECK(named->entries.at(0).spool.material == Material::silk);
    CHECK(named->entries.at(0).spool.readings[0].covariance(0, 0) == Approx(0.25));
    REQUIRE(named->warnings.size() == 1);
    CHECK_THAT(named->warnings[0], Contains("\"C\" is not known"));
}

TEST_CASE("Tristimulus values and spectra become CIELAB for D50") {
    // By CIE 15's definition the white is (100, 0, 0), and L* is 50 where Y is 18.4186518512 %.
    const auto xyz = read_spool_cgats(file(d50, "SAMPLE_ID XYZ_X XYZ_Y XYZ_Z", "W 96.42 100 82.51\n"), "t.txt", nylon);
    REQUIRE(xyz);
    const Lab<D50> white = xyz->entries.at(0).spool.readings[0].lab;
    CHECK(white.L == Approx(100).margin(1e-9));
    CHECK(white.a == Approx(0).margin(1e-9));
    CHECK(white.b == Approx(0).margin(1e-9));
    for (const auto& [prefix, value, note] : {std::tuple{"SPECTRAL_NM", "18.4186518512", "percent"}, {"nm", "0.184186518512", "parts of 1"},
                                              {"SPECTRAL_PCT_", "18.4186518512", ""}, {"SPECTRAL_DEC", "0.184186518512", ""}}) {
        std::string fields, set = "G";
        for (int nm = 700; nm >= 400; nm -= 10) {
            fields += " " + std::string(prefix) + std::to_string(nm);
            set += " " + std::string(value);
        }
        INFO(prefix);
        const auto grey = read_spool_cgats(file("CGATS.17\n", "SAMPLE_ID" + fields, set + "\n"), "t.txt", nylon);
        REQUIRE(grey);
        const Lab<D50> lab = grey->entries.at(0).spool.readings[0].lab;
        CHECK(lab.L == Approx(50).margin(1e-6));
        CHECK(std::hypot(lab.a, lab.b) < 0.002);
        CHECK(grey->warnings.size() == (*note == 0 ? 0 : 1));
        if (*note != 0) CHECK_THAT(grey->warnings[0], Contains(note));
    }
}

TEST_CASE("Colours for another light or observer are refused, unless there are spectra") {
    const std::string fields = "SAMPLE_ID LAB_L LAB_A LAB_B", set = "A 50 1 2\n";
    for (const char* keyword : {"ILLUMINATION_NAME \"D65\"\n", "OBSERVER_ANGLE 10\n", "WEIGHTING_FUNCTION \"ILLUMINANT, D50;OBSERVER, 10 degree\"\n",
                                "MEASUREMENT_SOURCE \"Illumination=D50 ObserverAngle=10 degree\"\n"})
        CHECK_THAT(refused(file(std::string("CGATS.17\n") + keyword, fields, set)), Contains("The colours are for "));
    std::string bands, values;
    for (int nm = 400; nm <= 700; nm += 20) {
        bands += " SPECTRAL_DEC" + std::to_string(nm);
        values += " 1";
    }
    const auto spectra = read_spool_cgats(file("CGATS.17\nILLUMINATION_NAME D65\n", fields + bands, "A 50 1 2" + values + "\n"), "t.txt", nylon);
    REQUIRE(spectra);
    CHECK(spectra->entries.at(0).spool.readings[0].lab.L == Approx(100).margin(1e-9));
    const auto unsaid = read_spool_cgats(file("CGATS.17\n", fields, set), "t.txt", nylon);
    REQUIRE(unsaid);
    REQUIRE(unsaid->warnings.size() == 1);
    CHECK_THAT(unsaid->warnings[0], Contains("D50 and 2 degree"));
}

TEST_CASE("From a CGATS file with anything wrong in it nothing is taken, and its own names are told") {
    const std::string lab = "SAMPLE_ID LAB_L LAB_A LAB_B";
    CHECK_THAT(refused(file(d50, lab, "A 50 1 2\nB 50 x 2\n")), Contains("t.txt: line 9, column LAB_A"));
    CHECK_THAT(refused(file(d50, lab, "A 150 1 2\n")), Contains("line 8, column LAB_L | 150 is out of range"));
    CHECK_THAT(refused(file(d50, lab, "\"\" 50 1 2\n")), Contains("column SAMPLE_ID"));
    CHECK_THAT(refused(file(d50, lab + " STDEV_L STDEV_A STDEV_B", "A 50 1 2 0.1 -1 0\n")), Contains("column STDEV_A"));
    CHECK_THAT(refused(file(d50, "SAMPLE_ID XYZ_X XYZ_Y XYZ_Z", "A 50 nan 2\n")), Contains("column XYZ_Y"));
    CHECK_THAT(refused(file(d50 + "THREAD_MATERIAL tin\n", lab, "A 50 1 2\n")), Contains("column THREAD_MATERIAL"));
    CHECK_THAT(refused(file(d50, lab, "A 50 1 2\n"), {}), Contains("of what material"));
    CHECK_THAT(refused(file(d50, lab, "A 50 1 2\n"), {Material::silk, std::nullopt, std::nullopt}), Contains("how thick"));
    CHECK_THAT(refused(file(d50, "LAB_L LAB_A LAB_B", "50 1 2\n")), Contains("SAMPLE_ID"));
    CHECK_THAT(refused(file(d50, "SAMPLE_ID RGB_R", "A 5\n")), Contains("no fields of a colour"));
    CHECK_THAT(refused(file(d50, "SAMPLE_ID nm400 nm500 nm700", "A 5 5 5\n")), Contains("not in even steps"));
    CHECK_THAT(refused(file(d50, "SAMPLE_ID nm400 nm500 nm600 nm700", "A 5 5 5 5\n")), Contains("by 100"));
    CHECK_THAT(refused(file(d50, "SAMPLE_ID nm400 SPECTRAL_NM400", "A 5 5\n")), Contains("not in even steps"));
    SpoolFile rack = odd_rack();
    rack.entries[3].spool.name = "two\nlines";
    const auto text = write_spool_cgats(rack);
    REQUIRE_FALSE(text);
    CHECK(text.error().where == "spool " + rack.entries[3].spool.code);
}

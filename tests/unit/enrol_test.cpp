#include "shop/enrol.hpp"

#include <catch2/catch.hpp>
#include <limits>

using namespace bindhue;
using namespace bindhue::capture;

namespace {

const ReadingContext door{"phone", "bench", "door"};

NotedReading noted(const Lab<D50>& lab, const std::string& date = "2026-11-01", const ReadingContext& context = door) {
    return {{lab, Matrix3::diagonal({1, 1, 1}), context, Matrix3::diagonal({0.75, 0.75, 0.75})}, {"photo a.jpg", date, ""}};
}

SpoolParticulars silk() {
    SpoolParticulars said;
    said.material = Material::silk;
    said.size_mm = 0.1;
    return said;
}

// One spool, A, read once.
SpoolFile rack() {
    SpoolFile out;
    SpoolParticulars said = silk();
    said.name.emplace("Heather");
    said.lot.emplace("7");
    const auto done = enrol(out, {{"A", noted({50, 20, 10})}}, said, false);
    REQUIRE(done);
    REQUIRE(done->kept);
    CHECK(done->spools[0].fresh);
    CHECK_FALSE(done->spools[0].drift);
    return out;
}

void refused(const std::vector<ToEnrol>& readings, const SpoolParticulars& said, const std::string& what) {
    SpoolFile file = rack();
    const std::string before = *write_spool_file(file);
    const auto done = enrol(file, readings, said, false);
    REQUIRE_FALSE(done);
    CHECK_THAT(done.error().what, Catch::Contains(what));
    CHECK_FALSE(done.error().where.empty());
    CHECK_FALSE(done.error().mend.empty());
    CHECK(*write_spool_file(file) == before);
}

}  // namespace

TEST_CASE("a new spool needs its material and thickness, and is then in the rack") {
    SpoolFile file = rack();
    REQUIRE(file.entries.size() == 1);
    CHECK(file.entries[0].spool.name == "Heather");
    CHECK(file.entries[0].notes[0].date == "2026-11-01");
    refused({{"B", noted({50, 20, 10})}}, {}, "material is not said");
    SpoolParticulars half;
    half.material = Material::nylon;
    refused({{"B", noted({50, 20, 10})}}, half, "thickness is not said");
    half.size_mm = 15;
    refused({{"B", noted({50, 20, 10})}}, half, "0.05 to 1 mm");
    refused({{"", noted({50, 20, 10})}}, silk(), "no code");
    refused({{"B", noted({50, 20, 10})}, {"B", noted({50, 21, 10})}}, silk(), "twice");
}

TEST_CASE("what is said of a spool that is there must agree with the rack") {
    SpoolParticulars said;
    said.material = Material::nylon;
    refused({{"A", noted({50, 20, 10})}}, said, "another material");
    said = silk();
    said.lot.emplace("8");
    refused({{"A", noted({50, 20, 10})}}, said, "another lot");
    said = silk();
    said.size_mm = 0.2;
    refused({{"A", noted({50, 20, 10})}}, said, "another thickness");
}

TEST_CASE("a reading that agrees is kept beside the others, once, and what is left on the spool is brought up to date") {
    SpoolFile file = rack();
    SpoolParticulars said;
    said.metres_left = 40;
    const std::vector<ToEnrol> again{{"A", noted({50.3, 20.2, 10.1}, "2026-11-20")}};
    auto done = enrol(file, again, said, false);
    REQUIRE(done);
    CHECK(done->kept);
    CHECK_FALSE(done->drifted);
    CHECK(done->spools[0].since == "2026-11-01");
    REQUIRE(file.entries[0].spool.readings.size() == 2);
    CHECK(file.entries[0].notes[1].date == "2026-11-20");
    CHECK(file.entries[0].metres_left == 40.0);
    CHECK(file.entries[0].spool.reading_for(door).lab.L == Approx(50.15));
    done = enrol(file, again, said, false);
    REQUIRE(done);
    CHECK(done->spools[0].known);
    CHECK(file.entries[0].spool.readings.size() == 2);
}

TEST_CASE("nothing of a photo is kept where a spool in it has drifted, unless the thread is said to have changed") {
    SpoolFile file = rack();
    const std::string before = *write_spool_file(file);
    const std::vector<ToEnrol> faded{{"A", noted({55, 14, 12}, "2027-11-01")}, {"B", noted({30, 0, 0})}};
    auto done = enrol(file, faded, silk(), false);
    REQUIRE(done);
    CHECK(done->drifted);
    CHECK_FALSE(done->kept);
    CHECK_FALSE(done->alike);
    CHECK(*write_spool_file(file) == before);

    done = enrol(file, faded, silk(), true);
    REQUIRE(done);
    CHECK(done->kept);
    CHECK(file.entries.size() == 2);
    const SpoolEntry& entry = *file.find("A");
    REQUIRE(entry.spool.readings.size() == 1);
    CHECK(entry.spool.readings[0].lab.L == 55);
    REQUIRE(entry.past.size() == 1);
    CHECK(entry.past[0].reading.lab.L == 50);
    CHECK(entry.past[0].note.date == "2026-11-01");
    const auto text = write_spool_file(file);
    REQUIRE(text);
    auto back = read_spool_file(*text, "back");
    REQUIRE(back);
    CHECK(back->find("A")->past.size() == 1);
}

TEST_CASE("a correction leaves the readings alone, and a wrong one changes nothing") {
    SpoolFile file = rack();
    SpoolEntry& entry = file.entries[0];
    SpoolParticulars said;
    said.name.emplace("Ling");
    said.lot.emplace("9");
    said.metres_left = std::numeric_limits<double>::quiet_NaN();
    CHECK_FALSE(change(entry, said));
    CHECK(entry.spool.name == "Heather");
    said.metres_left = 12;
    CHECK(change(entry, said));
    CHECK(entry.spool.name == "Ling");
    CHECK(entry.spool.lot == "9");
    CHECK(entry.metres_left == 12.0);
    CHECK(entry.spool.readings.size() == 1);
}

#include "sheet/customer_note.hpp"

#include <catch2/catch.hpp>

#include "colour/difference.hpp"
#include "sheet/swatch.hpp"
#include "shop/atomic_file.hpp"
#include "shop/coat_tests.hpp"
#include "support/command.hpp"
#include "support/sample.hpp"
#include "support/source_dir.hpp"

using namespace bindhue;
using namespace bindhue::capture;
using Catch::Matchers::Contains;

namespace {

// The demo shop with a job of two wraps, one of which says what it replaces.
struct Kept {
    TemporaryFolder folder;
    std::filesystem::path path = folder.path / "shop";
    Kept() {
        std::filesystem::copy(in_source("palettes/demo-shop"), path);
        const auto shop = Shop::open(path, Access::change);
        REQUIRE(shop);
        JobFile file;
        file.name = "trout-4";
        file.date = "2026-11-27";
        file.note = "<b>as it was</b>";
        file.job.bands = {{"R1-12", Schedule::finish, {32, 9}, 1, 2}, {"R5-02", {}, {2.5, 9}, 2, 0}};
        REQUIRE(create_job(*shop, file, {},
                           R"({"format":"bindhue-reading","version":1,"blank_diameter_mm":9,"bands":[
                               {"start_mm":1,"length_mm":17,"role":"blank","lab":[17,0,1]},{"start_mm":18,"length_mm":32,"role":"wrap","lab":[23.8,34.9,18.6]}]})"));
    }
};

}  // namespace

TEST_CASE("The note has the old look as read and the new one as the shop's coat tests predict it") {
    const Kept kept;
    const auto shop = Shop::open(kept.path, Access::read);
    const auto note = load_customer_note(*shop, "trout-4");
    REQUIRE(note);
    REQUIRE(note->looks.size() == 2);
    REQUIRE(note->looks[0].old_look);
    CHECK(note->looks[0].old_look->lab.L == 23.8);
    REQUIRE(note->looks[0].new_look);
    const auto model = load_coat_model(kept.path);
    const Spool& spool = note->sheet.rack.find("R1-12")->spool;
    const auto expected = model->predict(spool.material, Schedule::finish, spool.size_mm, spool.reading_for({}), {{17, 0, 1}, {}, {}});
    REQUIRE(expected);
    CHECK(note->looks[0].new_look->lab.vector() == expected->lab.vector());
    CHECK(note->looks[0].coat_tests == 9);
    CHECK_FALSE(note->looks[1].old_look);
    CHECK_FALSE(note->looks[1].new_look);  // its schedule is not chosen

    const std::string html = customer_note_html(*note);
    CHECK_THAT(html, Contains("Scarlet Oak") && Contains("L* 23.8") && Contains("9 coat tests of this shop") && Contains("the blank as read") &&
                         Contains("&lt;b&gt;as it was") && Contains("data sheet"));
    CHECK_THAT(html, !Contains("<b>as") && !Contains("Quote") && !Contains("<script"));
    const auto pdf = customer_note_pdf(*note, Paper::letter);
    REQUIRE(pdf);
    CHECK(pdf->starts_with("%PDF"));
}

TEST_CASE("Where the old finish's amber was undone for the match, the note lays the new look beside the old one as it was") {
    const Kept kept;
    const auto shop = Shop::open(kept.path, Access::change);
    JobFile file = *load_job(*shop, "trout-4");
    file.name = "trout-5";
    file.job.bands[0].old_finish = *amber_of(0.75, 0.03);
    REQUIRE(create_job(*shop, file, {}, *read_file(job_folder(*shop, "trout-4") / "reading.json")));
    const auto note = load_customer_note(*shop, "trout-5");
    REQUIRE(note);
    const NewLook& look = note->looks[0];
    const auto expected = as_new(*look.old_look, *file.job.bands[0].old_finish);
    REQUIRE(expected);
    REQUIRE(look.as_new);
    CHECK(cie1976(look.as_new->lab, expected->lab) < 1e-9);
    CHECK(look.as_new->lab.b < look.old_look->lab.b - 1);  // less yellow
    const std::string html = customer_note_html(*note);
    CHECK_THAT(html, Contains("before its finish went amber") && Contains("Expected difference from the old one as it was"));
    CHECK_THAT(html, Contains(screen_hex(expected->lab)) && !Contains(screen_hex(look.old_look->lab)));
}

TEST_CASE("The note predicts over the ground that the job says, and draws the blank bare and coated beside old and new") {
    const Kept kept;
    const auto shop = Shop::open(kept.path, Access::change);
    JobFile file = *load_job(*shop, "trout-4");
    file.name = "trout-5";
    file.job.bands[0].winding.underwrap_mm = 0.15;
    file.job.bands[0].ground = "underwrap:R5-02";
    const auto reading = read_file(job_folder(*shop, "trout-4") / "reading.json");
    REQUIRE(create_job(*shop, file, {}, *reading));
    const auto note = load_customer_note(*shop, "trout-5");
    REQUIRE(note);
    const auto model = load_coat_model(kept.path);
    const Spool &spool = note->sheet.rack.find("R1-12")->spool, &under = note->sheet.rack.find("R5-02")->spool;
    const auto expected = model->predict(spool.material, Schedule::finish, spool.size_mm, spool.reading_for({}), under.reading_for({}));
    REQUIRE(expected);
    CHECK(note->looks[0].new_look->lab.vector() == expected->lab.vector());
    REQUIRE(note->blank);
    REQUIRE(note->coated_blank);
    CHECK(note->blank->lab.L == 17);
    CHECK(note->coated_blank->lab.L < 17);
    const std::string html = customer_note_html(*note);
    CHECK_THAT(html, Contains("over an underwrap of R5-02") && Contains(screen_hex(note->blank->lab)) && Contains(screen_hex(note->coated_blank->lab)));
    CHECK(customer_note_pdf(*note, Paper::a4));

    file.name = "trout-6";
    file.job.bands[0].ground = "white";
    REQUIRE(create_job(*shop, file, {}, *reading));
    CHECK_THAT(customer_note_html(*load_customer_note(*shop, "trout-6")), Contains("over a white underwrap:"));
    file.name = "trout-7";
    file.job.bands[0].ground = "underwrap:nobody";
    REQUIRE(create_job(*shop, file, {}, *reading));
    const auto none = load_customer_note(*shop, "trout-7");
    REQUIRE_FALSE(none);
    CHECK_THAT(none.error().what, Contains("nobody"));
}

TEST_CASE("The note tells the same difference as the ranking of the photo does") {
    const Kept kept;
    const std::string shop = " --shop " + quoted(kept.path), door = quoted(samples / "photos/door.jpg") + " --card " + quoted(samples / "card.json");
    std::ofstream(kept.folder.path / "w.csv") << "width_mm,diameter_mm,pitch_mm,spool,schedule,replaces\n32.1,8.9,0.15,R1-12,finish,3\n";
    REQUIRE(bindhue_command("job new door --bands w.csv --photo " + door + shop, kept.folder.path).code == 0);
    REQUIRE(bindhue_command("job sheet door --note --output n.html" + shop, kept.folder.path).code == 0);
    const auto first = nlohmann::json::parse(bindhue_command("match " + door + " --band 3 --schedule finish --json" + shop).out).at("candidates").at(0);
    REQUIRE(first.at("spool") == "R1-12");
    char said[80];
    std::snprintf(said, sizeof said, "Expected difference: %.1f CIEDE2000 (95 %%: %.1f to %.1f); the new one is ", first.at("delta_e").get<double>(),
                  first.at("interval").at(0).get<double>(), first.at("interval").at(1).get<double>());
    CHECK_THAT(text_of(kept.folder.path / "n.html"), Contains(said + first.at("leans").get<std::string>()));
}

TEST_CASE("A quote is reckoned from the shop's own prices, and made only where it has set some") {
    Job job;
    job.bands = {{"R1", Schedule::finish, {32, 9}, 3, 0}};
    Prices prices{"EUR", 12.5, 0.5, 2};
    const auto lines = quote(job, prices, {});
    REQUIRE(lines.size() == 3);
    CHECK(lines[0].amount == Approx(3 * 12.5));
    CHECK(lines[0].what == "3 wraps at 12.50");
    CHECK(lines[1].amount == Approx(0.5 * takes(job).metres.at("R1")));
    CHECK(lines[2].amount == Approx(2 * 2 * batch_ml(takes(job).film_ml)));  // two coats, two a millilitre
    job.bands[0].schedule = Schedule::none;
    CHECK(quote(job, prices, {}).size() == 2);  // no finish
    CHECK(quote(job, {}, {}).empty());

    const Kept kept;
    const std::string shop = " --shop " + quoted(kept.path);
    const auto words = [&](const std::string& more) {
        REQUIRE(bindhue_command("job sheet trout-4 --output n.html" + more + shop, kept.folder.path).code == 0);
        return text_of(kept.folder.path / "n.html");
    };
    CHECK_THAT(words(" --note"), !Contains("Quote"));
    REQUIRE(bindhue_command("shop settings --shop-name 'The Bench' --currency EUR --per-wrap 12.5 --units inches --wrap-word whip --guide-word ring --next-coat-hours 20" + shop).code == 0);
    // Three whippings at 12.50.
    CHECK_THAT(words(" --note"), Contains("The Bench: note on a rod") && Contains("In all: 37.50 EUR") && Contains("Whipping of 1.26 inches"));
    const std::string sheet = words("");
    CHECK_THAT(sheet, Contains("Whippings to wind, widths in inches") && Contains("1.26") && Contains(" yd") && Contains("ring foot") && Contains("20 h, as this shop does") &&
                          Contains("Test whipping"));
    CHECK_THAT(sheet, !Contains("wraps") && !Contains("guide foot"));
    CHECK(bindhue_command("job sheet trout-4 --note" + shop, kept.folder.path).code == 0);
    CHECK(text_of(kept.folder.path / "trout-4-note.pdf").starts_with("%PDF"));
    CHECK(bindhue_command("job sheet trout-5 --note" + shop, kept.folder.path).code == 3);
}

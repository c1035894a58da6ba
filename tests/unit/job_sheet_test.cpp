#include "sheet/job_sheet.hpp"

#include <catch2/catch.hpp>
#include <cctype>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <filesystem>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>

#include "support/temporary_folder.hpp"

using namespace bindhue;
using namespace bindhue::capture;
using Catch::Matchers::Contains;

namespace {

WantedBand wrap(const std::string& spool, double width_mm, Schedule schedule) {
    WantedBand out;
    out.spool = spool;
    out.schedule = schedule;
    out.winding.width_mm = width_mm;
    out.winding.diameter_mm = 9;
    return out;
}

JobSheet trout() {
    JobSheet out;
    out.file.name = "trout-4";
    out.file.date = "2026-11-02";
    out.file.note = "Two runners above the handle; the owner wants it as it was.";
    out.file.job.bands = {wrap("R1-12", 32, Schedule::preserver_finish), wrap("R5-02", 2.5, Schedule::finish)};
    out.file.job.bands[1].count = 2;
    SpoolEntry scarlet;
    scarlet.spool.code = "R1-12";
    scarlet.spool.name = "Scarlet Oak";
    scarlet.spool.size = "A";
    scarlet.spool.readings = {{{40, 45, 25}, Matrix3::diagonal({1, 1, 1}), {}}};
    scarlet.metres_left = 4.0;
    out.rack.entries = {scarlet};
    out.old_rod = {{0, 15, 9, true, {17, 0, 1}}, {15, 32, 9, false, {24, 35, 19}}, {47, 20, 9, true, {17, 0, 1}}};
    return out;
}

std::string output_of(const std::string& command) {
    const TemporaryFolder folder;
    const std::string file = (folder.path / "out").string();
    REQUIRE(std::system((command + " >'" + file + "'").c_str()) == 0);
    std::ifstream in(file, std::ios::binary);
    return {std::istreambuf_iterator<char>(in), {}};
}

// What another program (poppler) reads on the pages, and how they look.
std::string words_of(const std::string& pdf) {
    const TemporaryFolder folder;
    const std::string file = (folder.path / "sheet.pdf").string();
    std::ofstream(file, std::ios::binary) << pdf;
    INFO("This test needs pdftotext, of poppler-utils.");
    std::string out;  // as if set in one line
    for (const char c : output_of("pdftotext -layout '" + file + "' -"))
        if (std::isspace(static_cast<unsigned char>(c)) == 0) out += c;
        else if (!out.empty() && out.back() != ' ') out += ' ';
    return out;
}

}  // namespace

TEST_CASE("The printed sheet says what the job needs: spools, widths, thread, finish, waits and cautions") {
    const auto pdf = job_sheet_pdf(trout(), Paper::a4);
    REQUIRE(pdf);
    const std::string words = words_of(*pdf);
    // 32 mm at a pitch of 0.15 mm are 213 turns.
    for (const char* said :
         {"Job trout-4", "2026-11-02", "as it was", "R1-12", "Scarlet Oak, nylon, size A", "preserver+finish", "R5-02", "32.0", "2.5",
          "Thread to have at hand", "m short", "Finish to mix", "coat 1 of 2", "coat 2 of 2", "12 to 24 h", "4 to 24 h", "Test wrap",
          "gloves, eye protection, fresh air", "flames apart", "data sheet", "213"}) {
        INFO(said);
        CHECK_THAT(words, Contains(said));
    }
}

TEST_CASE("The sheet on a screen says the same") {
    const std::string html = job_sheet_html(trout());
    for (const char* said : {"R1-12", "Scarlet Oak, nylon, size A", "preserver+finish", "m short", "coat 2 of 2", "gloves, eye protection"})
        CHECK_THAT(html, Contains(said));
    CHECK(html.find("http") == html.find("http-equiv"));
    CHECK_THAT(html, !Contains("<script"));
}

TEST_CASE("A wrap that was matched as the old one was when new is said to be so, and no other") {
    JobSheet sheet = trout();
    CHECK_THAT(job_sheet_html(sheet), !Contains("matched to"));
    sheet.file.job.bands[1].old_finish = *amber_of(0.75, 0.03);
    const std::string said = "Wrap 2 matched to the old one as it was before its finish went amber";
    CHECK_THAT(job_sheet_html(sheet), Contains(said));
    CHECK_THAT(words_of(*job_sheet_pdf(sheet, Paper::a4)), Contains(said.substr(0, 40)));
}

TEST_CASE("Steps follow the schedules: no coat where none is wanted, preserver before finish, underwraps first") {
    Job dry;
    dry.bands = {wrap("R1", 10, Schedule::none)};
    for (const WorkStep& step : order_of_work(dry)) {
        CHECK(step.what.find("Finish, coat") == std::string::npos);
        CHECK(step.what.find("Preserver") == std::string::npos);
    }
    Job all = trout().file.job;
    all.coats = 3;
    all.bands[0].winding.underwrap_mm = 0.15;
    all.bands[0].ground = "underwrap:R9";
    std::vector<std::string> order;
    for (const WorkStep& step : order_of_work(all))
        for (const char* key : {"test wrap", "wrap 1: an underwrap of R9", "Wind 3 wraps", "Preserver", "coat 1 of 3", "coat 3 of 3", "daylight and under"})
            if (step.what.find(key) != std::string::npos) order.emplace_back(key);
    CHECK(order == std::vector<std::string>{"test wrap", "wrap 1: an underwrap of R9", "Wind 3 wraps", "Preserver", "coat 1 of 3", "coat 3 of 3", "daylight and under"});
}

TEST_CASE("Texts that mean something to a page are only texts") {
    JobSheet sheet = trout();
    sheet.file.note = "<script>alert(1)</script> & \"quotes\" " + std::string(3000, 'x') + " end";
    sheet.rack.entries[0].spool.name = "</td><img src=x onerror=alert(1)>";
    const std::string html = job_sheet_html(sheet);
    CHECK_THAT(html, !Contains("<script") && !Contains("<img"));
    CHECK_THAT(html, Contains("&lt;script&gt;"));
    CHECK(job_sheet_pdf(sheet, Paper::letter));
}

TEST_CASE("A large job takes more pages, and nothing is drawn over their edges") {
    JobSheet sheet = trout();
    sheet.file.note = std::string(900, 'x');
    for (int i = 0; i < 60; ++i) sheet.file.job.bands.push_back(wrap("R1-12", 5 + i, Schedule::finish));
    for (const Paper paper : {Paper::a4, Paper::letter}) {
        const auto pdf = job_sheet_pdf(sheet, paper);
        REQUIRE(pdf);
        const TemporaryFolder folder;
        const std::string file = (folder.path / "sheet.pdf").string();
        std::ofstream(file, std::ios::binary) << *pdf;
        REQUIRE(std::system(("pdftoppm -r 40 -gray '" + file + "' '" + (folder.path / "page").string() + "'").c_str()) == 0);
        int pages = 0;
        for (const auto& entry : std::filesystem::directory_iterator(folder.path)) {
            if (entry.path().extension() != ".pgm") continue;
            ++pages;
            const cv::Mat page = cv::imread(entry.path().string(), cv::IMREAD_GRAYSCALE);
            const int edge = 10 * 40 / 25;  // 10 mm
            cv::Mat middle = page.clone();
            middle(cv::Rect(edge, edge, page.cols - 2 * edge, page.rows - 2 * edge)) = 255;
            CHECK(cv::countNonZero(middle < 200) == 0);
        }
        CHECK(pages >= 3);
        const std::string words = words_of(*pdf);
        CHECK_THAT(words, Contains("64.0") && Contains("Cautions"));
    }
}

TEST_CASE("A sheet is PDF or HTML by its name") {
    const TemporaryFolder folder;
    CHECK(write_job_sheet(trout(), folder.path / "a.pdf", Paper::a4));
    CHECK(write_job_sheet(trout(), folder.path / "a.html", Paper::a4));
    const auto odd = write_job_sheet(trout(), folder.path / "a.docx", Paper::a4);
    REQUIRE_FALSE(odd);
    CHECK_FALSE(odd.error().mend.empty());
}

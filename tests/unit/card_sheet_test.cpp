#include "sheet/card_sheet.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdlib>
#include <fstream>
#include <opencv2/aruco.hpp>
#include <opencv2/imgcodecs.hpp>

#include "colour/adaptation.hpp"
#include "support/temporary_folder.hpp"

using namespace bindhue;
using namespace bindhue::capture;
using Catch::Matchers::Contains;

namespace {

constexpr int dots_per_inch = 300;
constexpr double dots_per_mm = dots_per_inch / 25.4;

// The first page as another program (poppler's pdftoppm) prints it.
cv::Mat printed(const CardLayout& card, Paper paper, int page = 1) {
    const auto pdf = card_sheet_pdf(card, paper);
    REQUIRE(pdf);
    const TemporaryFolder folder;
    const std::string file = (folder.path / "sheet.pdf").string(), image = (folder.path / "page").string();
    std::ofstream(file, std::ios::binary) << *pdf;
    const std::string number = std::to_string(page);
    const std::string command = "pdftoppm -r " + std::to_string(dots_per_inch) + " -singlefile -f " + number +
                                " -l " + number + " '" + file + "' '" + image + "'";
    INFO("This test needs pdftoppm, of poppler-utils.");
    REQUIRE(std::system(command.c_str()) == 0);
    cv::Mat out = cv::imread(image + ".ppm");
    REQUIRE_FALSE(out.empty());
    return out;
}

// How much ink lies on a row between two places, in millimetres of full black.
double black_mm(const cv::Mat& page, double y_mm, double from_mm, double to_mm) {
    const int y = static_cast<int>(std::lround(y_mm * dots_per_mm));
    double sum = 0;
    for (int x = static_cast<int>(from_mm * dots_per_mm); x < static_cast<int>(to_mm * dots_per_mm); ++x) {
        const auto& c = page.at<cv::Vec3b>(y, x);
        sum += 1 - (c[0] + c[1] + c[2]) / (3 * 255.0);
    }
    return sum / dots_per_mm;
}

}  // namespace

TEST_CASE("The printed sheet is true to size: paper, marker and ruler to 0.1 mm") {
    const CardLayout card = bench_card();
    const cv::Mat page = printed(card, Paper::a4);
    CHECK(page.cols / dots_per_mm == Approx(297).margin(0.1));
    CHECK(page.rows / dots_per_mm == Approx(210).margin(0.1));

    // Through the upper border of marker 0, which is black all along.
    const CardRect& marker = card.markers[0].rect;
    const double x = card_on_sheet.x_mm + marker.x_mm, y = card_on_sheet.y_mm + marker.y_mm;
    CHECK(black_mm(page, y + 1, x - 1.5, x + 14.5) == Approx(13).margin(0.1));

    // The ruler is the blackest row below the card; its ticks stand out above it.
    double longest = 0, ruler = 0;
    for (double row = card_on_sheet.y_mm + card.height_mm + 3; row < 160; row += 1 / dots_per_mm) {
        const double length = black_mm(page, row, 5, 150);
        if (length > longest) ruler = row;
        longest = std::max(longest, length);
    }
    CHECK(longest == Approx(100).margin(0.3));
    const auto tick = [&](double from_mm, double to_mm) {
        double sum = 0, moment = 0;
        for (double at = from_mm; at < to_mm; at += 1 / dots_per_mm) {
            const double ink = black_mm(page, ruler - 1, at, at + 1.001 / dots_per_mm);
            sum += ink;
            moment += ink * at;
        }
        REQUIRE(sum > 0.05);
        return moment / sum;
    };
    CHECK(tick(62, 150) - tick(5, 62) == Approx(100).margin(0.1));
}

TEST_CASE("Every marker of the printed sheet is found where the layout has it") {
    const CardLayout card = bench_card();
    const cv::Mat page = printed(card, Paper::letter);
    std::vector<int> ids;
    std::vector<std::vector<cv::Point2f>> corners;
    cv::aruco::detectMarkers(page, cv::aruco::getPredefinedDictionary(opencv_dictionary(card.family)),
                             corners, ids);
    REQUIRE(ids.size() == card.markers.size());
    for (const CardMarker& marker : card.markers) {
        const auto found = std::find(ids.begin(), ids.end(), marker.id);
        REQUIRE(found != ids.end());
        const cv::Point2f upper_left = corners[static_cast<std::size_t>(found - ids.begin())][0];
        CHECK(upper_left.x / dots_per_mm == Approx(card_on_sheet.x_mm + marker.rect.x_mm).margin(0.15));
        CHECK(upper_left.y / dots_per_mm == Approx(card_on_sheet.y_mm + marker.rect.y_mm).margin(0.15));
    }
}

TEST_CASE("Patches are printed in their colours relative to the paper, and white ones not at all") {
    const CardLayout card = bench_card();
    const cv::Mat page = printed(card, Paper::a4);
    const XYZ<D50> paper = to_xyz(card.patch("C1")->lab);
    for (const CardPatch& patch : card.patches) {
        if (patch.role == PatchRole::trap) continue;
        const XYZ<D50> c = to_xyz(patch.lab);
        const EncodedSrgb wanted = to_display(
            to_lab(XYZ<D50>{c.X / paper.X * D50::X, c.Y / paper.Y * D50::Y, c.Z / paper.Z * D50::Z}));
        const CardPoint centre = patch.rect.centre();
        const auto& dot =
            page.at<cv::Vec3b>(static_cast<int>((card_on_sheet.y_mm + centre.y_mm) * dots_per_mm),
                               static_cast<int>((card_on_sheet.x_mm + centre.x_mm) * dots_per_mm));
        INFO(patch.id);
        CHECK(dot[2] == Approx(255 * wanted.r).margin(1.5));
        CHECK(dot[1] == Approx(255 * wanted.g).margin(1.5));
        CHECK(dot[0] == Approx(255 * wanted.b).margin(1.5));
    }
    const CardPoint white = card.patch("D12")->rect.centre();
    CHECK(page.at<cv::Vec3b>(static_cast<int>((card_on_sheet.y_mm + white.y_mm) * dots_per_mm),
                             static_cast<int>((card_on_sheet.x_mm + white.x_mm) * dots_per_mm)) ==
          cv::Vec3b(255, 255, 255));
}

TEST_CASE("The mask is a black disc of 180 mm with a hole of 16 mm") {
    const cv::Mat page = printed(bench_card(), Paper::letter, 2);
    const double middle = 215.9 / 2;
    CHECK(black_mm(page, middle, 5, 200) == Approx(180 - 16).margin(0.4));
}

TEST_CASE("The SVG states its size in millimetres and draws in them") {
    const auto pages = card_sheet_svg(bench_card(), Paper::a4);
    REQUIRE(pages);
    REQUIRE(pages->size() == 2);
    for (const std::string& page : *pages)
        CHECK_THAT(page, Contains("width=\"297mm\"") && Contains("height=\"210mm\"") &&
                             Contains("viewBox=\"0 0 297 210\""));
    const auto letter = card_sheet_svg(bench_card(), Paper::letter);
    REQUIRE(letter);
    CHECK_THAT((*letter)[0], Contains("width=\"279.4mm\""));
}

TEST_CASE(
    "A card without opening, markers, scale or trap is drawn too, and one that is too large is refused") {
    CardLayout card = bench_card();
    card.opening.reset();
    card.markers.clear();
    card.scale.reset();
    std::erase_if(card.patches, [](const CardPatch& patch) { return patch.role == PatchRole::trap; });
    CHECK(card_sheet_pdf(card, Paper::a4));
    card.width_mm = 240;  // leaves no room for words beside it
    const auto pages = card_sheet_svg(card, Paper::a4);
    REQUIRE(pages);
    CHECK(pages->size() == 3);
    card.width_mm = 280;
    const auto refused = card_sheet_pdf(card, Paper::a4);
    REQUIRE_FALSE(refused);
    CHECK_THAT(refused.error().what, Contains("280 x 110 mm does not fit"));
}

TEST_CASE("A name that is no UTF-8 is refused instead of printed") {
    CardLayout card = bench_card();
    card.name = "\xff\xfe";
    const auto refused = card_sheet_pdf(card, Paper::a4);
    REQUIRE_FALSE(refused);
    CHECK(refused.error().reason == Reason::bad_value);
}

TEST_CASE("The ending of the file's name tells PDF from SVG, and nothing else is written") {
    const TemporaryFolder folder;
    REQUIRE(write_card_sheet(bench_card(), folder.path / "card.pdf", Paper::a4));
    REQUIRE(write_card_sheet(bench_card(), folder.path / "card.svg", Paper::a4));
    REQUIRE(write_card_sheet(bench_card(), folder.path / "card.svg", Paper::a4));
    std::vector<std::string> names;
    for (const auto& entry : std::filesystem::directory_iterator(folder.path))
        names.push_back(entry.path().filename().string());
    std::sort(names.begin(), names.end());
    CHECK(names == std::vector<std::string>{"card-2.svg", "card.pdf", "card.svg"});
    const Status refused = write_card_sheet(bench_card(), folder.path / "card.png", Paper::a4);
    REQUIRE_FALSE(refused);
    CHECK(refused.error().reason == Reason::bad_value);
    CHECK(write_card_sheet(bench_card(), folder.path / "no" / "card.pdf", Paper::a4).error().reason ==
          Reason::storage);
}

TEST_CASE("The sleeve of a two-tone stick is true to size, half black and half bare, and goes round the dowel") {
    const TemporaryFolder folder;
    REQUIRE(write_stick_sheet(8, folder.path / "stick.pdf", Paper::a4));
    const std::string command = "pdftoppm -r " + std::to_string(dots_per_inch) + " -singlefile '" + (folder.path / "stick.pdf").string() + "' '" +
                                (folder.path / "page").string() + "'";
    INFO("This test needs pdftoppm, of poppler-utils.");
    REQUIRE(std::system(command.c_str()) == 0);
    const cv::Mat page = cv::imread((folder.path / "page.ppm").string());
    REQUIRE_FALSE(page.empty());
    const double left = first_sleeve_on_sheet.x_mm, top = first_sleeve_on_sheet.y_mm, way_round = 3.14159265 * 8 + stick_overlap_mm;
    CHECK(black_mm(page, top + 5, left - 2, left + stick_sleeve_mm + 2) == Approx(stick_sleeve_mm / 2).margin(0.3));
    CHECK(black_mm(page, top + 5, left + stick_sleeve_mm / 2 + 1, left + stick_sleeve_mm - 1) == Approx(0).margin(0.01));
    // Along the black half: its height, and nothing of it beyond.
    const int x = static_cast<int>(std::lround((left + 5) * dots_per_mm));
    double high = 0;
    for (int y = 0; y < static_cast<int>((top + way_round + 5) * dots_per_mm); ++y)
        if (y > (top - 3) * dots_per_mm) high += page.at<cv::Vec3b>(y, x)[1] < 60 ? 1 / dots_per_mm : 0;
    CHECK(high == Approx(way_round).margin(0.3));
    CHECK_FALSE(stick_sheet_pdf(2, Paper::a4));
    CHECK_FALSE(stick_sheet_pdf(std::nan(""), Paper::letter));
    CHECK(stick_sheet_pdf(16, Paper::letter));
}

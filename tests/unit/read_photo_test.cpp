#include "reading/reading.hpp"

#include <catch2/catch.hpp>
#include <algorithm>
#include <cmath>
#include <fstream>
#include <iterator>

#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "colour/difference.hpp"
#include "support/sample.hpp"
#include "support/temporary_folder.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

ReadOptions options(bool linear = false) {
    ReadOptions out;
    out.layout = sample_layout();
    out.linear = linear;
    return out;
}

WrapReading read(const std::filesystem::path& path, const ReadOptions& how = options()) {
    const auto reading = read_photo(path, how);
    if (!reading) FAIL(reading.error().what);
    return *reading;
}

// 0.3 is asked of a card laid the other way round; a picture of the same pixels should do as well.
void same_colours(const WrapReading& one, const WrapReading& other) {
    REQUIRE(one.bands.size() == other.bands.size());
    for (std::size_t i = 0; i < one.bands.size(); ++i) {
        INFO("band " << i + 1);
        CHECK(one.bands[i].role == other.bands[i].role);
        CHECK(one.bands[i].start_mm == Approx(other.bands[i].start_mm).margin(0.2));
        CHECK(ciede2000(one.bands[i].colour.lab, other.bands[i].colour.lab) < 0.3);
    }
}

bool warns(const WrapReading& reading, const std::string& words) {
    return std::ranges::any_of(reading.warnings, [&](const std::string& w) { return w.find(words) != std::string::npos; });
}

const std::filesystem::path door = samples / "photos/door.jpg";

}  // namespace

TEST_CASE("A photo taken upside down reads the same") {
    const TemporaryFolder folder;
    cv::Mat picture = cv::imread(door.string());
    cv::flip(picture, picture, -1);
    cv::imwrite((folder.path / "turned.png").string(), picture);
    same_colours(read(door), read(folder.path / "turned.png"));
}

TEST_CASE("Bands lie where they were wound, one after the other, and the blank has its diameter") {
    const WrapReading reading = read(door);
    const auto truth = sample_truth("door");
    REQUIRE(reading.bands.size() == truth["bands"].size());
    for (std::size_t i = 0; i < reading.bands.size(); ++i) {
        const auto& band = truth["bands"][i];
        INFO("band " << i + 1);
        CHECK(name(reading.bands[i].role) == band["role"].get<std::string>());
        if (i > 0) CHECK(reading.bands[i].start_mm == Approx(band["start_mm"].get<double>()).margin(0.5));
        CHECK(reading.bands[i].outline.size() == 4);
        CHECK(validate(reading.bands[i].colour));
    }
    REQUIRE(reading.blank_diameter_mm);
    CHECK(*reading.blank_diameter_mm == Approx(8.9).epsilon(0.03));
    REQUIRE(reading.blank());
    CHECK(reading.blank()->lab.L < 25);
    CHECK(reading.picture.cols == 2000);
}

TEST_CASE("A reading's covariance is the sum of its named parts") {
    ReadOptions by_hand = options();
    by_hand.region = PixelRegion{900, 700, 120, 8};
    for (const WrapReading& reading : {read(door), read(door, by_hand), read(samples / "photos/noon.png", options(true))})
        for (const BandReading& band : reading.bands) {
            REQUIRE(band.covariance_of);
            const Matrix3 sum = band.covariance_of->sum();
            for (std::size_t r = 0; r < 3; ++r)
                for (std::size_t c = 0; c < 3; ++c) CHECK(sum(r, c) == Approx(band.colour.covariance(r, c)).margin(1e-9));
            for (const Matrix3& part : {band.covariance_of->pixels, band.covariance_of->shading, band.covariance_of->mirrored,
                                        band.covariance_of->fit, band.covariance_of->card})
                CHECK(part(0, 0) > 0);
        }
}

TEST_CASE("A linear photo is read as such though nobody said so, and an encoded one is not, whatever is said") {
    const auto noon = samples / "photos/noon.png";
    const WrapReading said = read(noon, options(true)), found = read(noon);
    CHECK(warns(found, "holds linear values"));
    CHECK_FALSE(warns(said, "holds linear values"));
    REQUIRE(found.bands.size() == said.bands.size());
    for (std::size_t i = 0; i < said.bands.size(); ++i) CHECK(found.bands[i].colour.lab.vector() == said.bands[i].colour.lab.vector());
    CHECK_FALSE(warns(read(door), "holds linear values"));
    const auto refused = read_photo(door, options(true));
    REQUIRE_FALSE(refused);
    CHECK(refused.error().reason == Reason::cannot_measure);
    CHECK(refused.error().what.find("follow a tone curve") != std::string::npos);
}

TEST_CASE("The light of a linear photo is named and graded, that of a phone's by its kind") {
    const WrapReading noon = read(samples / "photos/noon.png", options(true));
    REQUIRE(noon.card.light);
    // Overcast sky. Daylight with a little of another lamp in it looks much the same through three channels.
    CHECK(noon.card.light->name.find("daylight") != std::string::npos);
    CHECK(noon.card.light->grade == LightGrade::good);
    const std::optional<LightEstimate> at_the_door = read(door).card.light;
    REQUIRE(at_the_door);
    CHECK(at_the_door->kind == "daylight");
    CHECK(at_the_door->name == "daylight");
}

TEST_CASE("A phone that evens out bright and dark is noticed, and its regions hold the truth") {
    cv::Mat picture, luma, large;
    cv::imread(door.string()).convertTo(picture, CV_32FC3, 1 / 255.0);
    cv::cvtColor(picture, luma, cv::COLOR_BGR2GRAY);
    cv::GaussianBlur(luma, large, {}, 0.05 * picture.cols);
    cv::Mat gain, gains;
    cv::pow(0.5 / cv::max(large, 0.02), 0.2, gain);
    cv::merge(std::vector<cv::Mat>(3, gain), gains);
    picture = picture.mul(gains);
    picture.convertTo(picture, CV_8UC3, 255.0);
    const TemporaryFolder folder;
    cv::imwrite((folder.path / "evened.png").string(), picture);

    const WrapReading evened = read(folder.path / "evened.png"), plain = read(door);
    CHECK(warns(evened, "evens out bright and dark"));
    CHECK_FALSE(warns(plain, "evens out bright and dark"));
    const auto truth = sample_truth("door");
    REQUIRE(evened.bands.size() == truth["bands"].size());
    for (std::size_t i = 0; i < evened.bands.size(); ++i) {
        const auto lab = truth["bands"][i]["lab"];
        CHECK(mahalanobis_squared({lab[0], lab[1], lab[2]}, evened.bands[i].colour) < 7.815);
        REQUIRE(evened.bands[i].covariance_of);
        CHECK(evened.bands[i].covariance_of->local_tone(0, 0) > 0);
        CHECK(plain.bands[i].covariance_of->local_tone(0, 0) == 0);
    }
}


TEST_CASE("Edges given by hand are taken as they are: those that were found change nothing, others do") {
    const WrapReading found = read(door);
    ReadOptions by_hand = options();
    by_hand.edges_mm.emplace();
    for (std::size_t i = 1; i < found.bands.size(); ++i) by_hand.edges_mm->push_back(found.bands[i].start_mm);
    same_colours(found, read(door, by_hand));

    by_hand.edges_mm->at(2) = 40;  // amid band 3: the rest of it and the trim are one band
    const WrapReading moved = read(door, by_hand);
    REQUIRE(moved.bands.size() == found.bands.size());
    CHECK(moved.bands[2].length_mm == Approx(40 - found.bands[2].start_mm));
    CHECK(ciede2000(moved.bands[2].colour.lab, found.bands[2].colour.lab) < 1.5);
    CHECK(moved.bands[3].start_mm == 40);
    CHECK(moved.bands.back().length_mm == Approx(found.bands.back().length_mm).margin(0.2));

    by_hand.edges_mm = std::vector<double>{};
    CHECK(read(door, by_hand).bands.size() == 1);
    for (const std::vector<double>& bad : {std::vector<double>{40, 30}, {40, 40.1}, {-3}, {1e9}, {std::nan("")}, {found.bands.front().start_mm + 0.1}}) {
        by_hand.edges_mm = bad;
        const auto refused = read_photo(door, by_hand);
        REQUIRE_FALSE(refused);
        CHECK(refused.error().reason == Reason::bad_value);
        CHECK(refused.error().where == "--edges");
    }
}

TEST_CASE("What a photo's file is called follows from what it holds") {
    const auto ending = [](const std::filesystem::path& path) {
        std::ifstream in(path, std::ios::binary);
        const std::string bytes((std::istreambuf_iterator<char>(in)), {});
        return usual_ending({reinterpret_cast<const std::uint8_t*>(bytes.data()), bytes.size()});
    };
    CHECK(ending(door) == ".jpg");
    CHECK(ending(samples / "photos/navy.png") == ".png");
    CHECK(usual_ending({}).empty());
}

TEST_CASE("A region given by hand is read alone, with a warning") {
    ReadOptions by_hand = options();
    by_hand.region = PixelRegion{900, 700, 120, 8};
    const WrapReading reading = read(door, by_hand);
    REQUIRE(reading.bands.size() == 1);
    CHECK_FALSE(reading.bands[0].warnings.empty());
    CHECK_FALSE(reading.blank());
    for (const PixelRegion bad :
         {PixelRegion{-1, 0, 10, 10}, {0, 0, 1e9, 10}, {10, 10, 0, 0}, {1995, 10, 10, 10}}) {
        by_hand.region = bad;
        const auto refused = read_photo(door, by_hand);
        REQUIRE_FALSE(refused);
        CHECK(refused.error().reason == Reason::bad_value);
        CHECK(refused.error().where == "--region");
    }
}

TEST_CASE("A region given by hand holds the thread's colour in its interval, wherever on the band it lies") {
    const auto outline = read(door).bands[2].outline;
    const auto truth = sample_truth("door")["bands"][2]["lab"];
    const double x = (outline[0].x_px + outline[1].x_px) / 2, y = (outline[0].y_px + outline[3].y_px) / 2;
    for (const double across : {-20.0, -4.0, 4.0, 12.0}) {
        INFO(across << " pixels from the axis");
        ReadOptions by_hand = options();
        by_hand.region = PixelRegion{x - 60, y + across, 120, 8};
        const WrapReading reading = read(door, by_hand);
        // 7.815: the 95 % point of chi-squared with 3 degrees of freedom.
        CHECK(mahalanobis_squared({truth[0].get<double>(), truth[1].get<double>(), truth[2].get<double>()},
                                  reading.bands[0].colour) < 7.815);
    }
}

TEST_CASE("An even region that lies flat keeps a narrow interval, with the colour in it") {
    const WrapReading card = read(door);
    const CardLayout layout = sample_layout();
    std::vector<cv::Point2f> corners,
        places{{0, 0},
               {static_cast<float>(layout.width_mm), 0},
               {static_cast<float>(layout.width_mm), static_cast<float>(layout.height_mm)},
               {0, static_cast<float>(layout.height_mm)}};
    for (const PixelPoint& p : card.card.outline)
        corners.emplace_back(static_cast<float>(p.x_px), static_cast<float>(p.y_px));
    const cv::Mat to_picture = cv::getPerspectiveTransform(places, corners);
    std::size_t tried = 0;
    for (const CardPatch& patch : layout.patches) {
        if (patch.role != PatchRole::check || patch.lab.L < 30) continue;
        INFO(patch.id);
        std::vector<cv::Point2f> middle{
            {static_cast<float>(patch.rect.centre().x_mm), static_cast<float>(patch.rect.centre().y_mm)}};
        cv::perspectiveTransform(middle, middle, to_picture);
        ReadOptions by_hand = options();
        by_hand.region = PixelRegion{middle[0].x - 20, middle[0].y - 20, 40, 40};
        const Reading colour = read(door, by_hand).bands[0].colour;
        CHECK(mahalanobis_squared(patch.lab, colour) < 7.815);
        // 5 % of shading are 1.7 percent of L* + 16 (its cube root), 1 % of mirrored light adds to that in the dark.
        CHECK(std::sqrt(colour.covariance(0, 0)) < 4);
        CHECK(ciede2000(patch.lab, colour.lab) < 3);
        ++tried;
    }
    CHECK(tried >= 3);
}

TEST_CASE("A card whose values are not those of the print is refused by its check patches") {
    ReadOptions wrong = options();
    // Check patches named in the file as another colour than they are.
    for (CardPatch& p : wrong.layout.patches)
        if (p.role == PatchRole::check) p.lab.L = p.lab.L > 50 ? p.lab.L - 25 : p.lab.L + 25;
    const auto refused = read_photo(door, wrong);
    REQUIRE_FALSE(refused);
    CHECK(refused.error().reason == Reason::cannot_measure);
    CHECK_THAT(refused.error().what, Catch::Contains("check patches"));
}

TEST_CASE("A card on paper with brightener is read with a warning and wider regions") {
    ReadOptions glowing = options();
    // As the library's test of it: the paper's white as blue as office paper's, every print by as much of it.
    for (CardPatch& p : glowing.layout.patches) {
        p.spectrum.reset();
        p.lab.b -= 8 * p.lab.L / 94;
        p.lab.a += 2 * p.lab.L / 94;
    }
    const WrapReading plain = read(door), wide = read(door, glowing);
    CHECK_FALSE(warns(plain, "optical brightener"));
    CHECK(warns(wide, "optical brightener (its white is at b* -8)"));
    REQUIRE(wide.bands.size() == plain.bands.size());
    for (std::size_t i = 0; i < plain.bands.size(); ++i) CHECK(wide.bands[i].covariance_of->card(2, 2) > plain.bands[i].covariance_of->card(2, 2) + 1);
}

TEST_CASE("A rod with an edge as soft as a shadow's is read with a warning and wider regions") {
    const TemporaryFolder folder;
    const WrapReading sharp = read(door);
    cv::Mat picture = cv::imread(door.string());
    // Along the edge with larger y, from one end of the opening to the other.
    double low = 1e9, high = 0;
    for (const BandReading& band : sharp.bands)
        for (const std::size_t corner : {2, 3}) {
            low = std::min(low, band.outline[corner].y_px);
            high = std::max(high, band.outline[corner].y_px);
        }
    const int first = static_cast<int>(low) - 15, rows = static_cast<int>(high - low) + 30;
    const std::vector<PixelPoint>& opening = sharp.card.opening;
    const int left = static_cast<int>(opening[0].x_px) + 15, columns = static_cast<int>(opening[1].x_px) - 15 - left;
    cv::Mat strip = picture(cv::Rect(left, first, columns, rows));
    cv::GaussianBlur(strip, strip, {0, 0}, 12);
    cv::imwrite((folder.path / "soft.png").string(), picture);
    const WrapReading soft = read(folder.path / "soft.png");
    CHECK_FALSE(warns(sharp, "as soft as a shadow's"));
    CHECK(warns(soft, "as soft as a shadow's"));
    REQUIRE_FALSE(soft.bands.empty());
    // A tenth of the light, besides what there is: some 2 of L* for a colour of L* 50.
    for (const BandReading& band : soft.bands)
        if (band.colour.lab.L > 40) CHECK(std::sqrt(band.covariance_of->shading(0, 0)) > 1.5);
    for (const BandReading& band : sharp.bands) CHECK(std::sqrt(band.covariance_of->shading(0, 0)) < 1.5);
}

TEST_CASE("A card half of which lies in a hard shadow is refused") {
    const TemporaryFolder folder;
    cv::Mat picture = cv::imread(door.string());
    cv::Mat half = picture.colRange(0, picture.cols / 2);
    half.convertTo(half, -1, 0.75);
    const std::filesystem::path path = folder.path / "shadow.png";
    cv::imwrite(path.string(), picture);
    const auto refused = read_photo(path, options());
    REQUIRE_FALSE(refused);
    CHECK(refused.error().reason == Reason::cannot_measure);
    CHECK_THAT(refused.error().what, Catch::Contains("prints of one ink") && Catch::Contains("not one smooth light"));
    CHECK_THAT(refused.error().mend, Catch::Contains("shadows"));
}

TEST_CASE("A photo that is too dark is refused, a dark one read with a warning") {
    const TemporaryFolder folder;
    const cv::Mat picture = cv::imread(door.string());
    const auto darker = [&](double share) {
        cv::Mat dark;
        picture.convertTo(dark, -1, share);
        const std::filesystem::path path = folder.path / "dark.png";
        cv::imwrite(path.string(), dark);
        return path;
    };
    const auto refused = read_photo(darker(0.35), options());
    REQUIRE_FALSE(refused);
    CHECK(refused.error().reason == Reason::cannot_measure);
    CHECK(refused.error().what.find("too dark") != std::string::npos);
    CHECK(refused.error().mend.find("more exposure") != std::string::npos);
    CHECK(warns(read(darker(0.5)), "the photo is dark"));
    CHECK_FALSE(warns(read(door), "the photo is dark"));
}

TEST_CASE("Nominal values are said to be nominal") {
    ReadOptions nominal = options();
    nominal.layout.trust = Trust::nominal;
    const WrapReading reading = read(door, nominal);
    REQUIRE_FALSE(reading.warnings.empty());
    CHECK_THAT(reading.warnings.front(), Catch::Contains("nominal"));
}

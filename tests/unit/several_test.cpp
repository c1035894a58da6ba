#include "reading/several.hpp"

#include <algorithm>
#include <catch2/catch.hpp>

#include "support/command.hpp"
#include "support/sample.hpp"

using namespace bindhue;
using namespace bindhue::capture;

namespace {

BandReading band(double start, double length, const Lab<D50>& lab) {
    BandReading out;
    out.start_mm = start;
    out.length_mm = length;
    out.colour.lab = lab;
    return out;
}

const Lab<D50> blank{20, 0, 0}, red{40, 50, 30}, blue{30, 10, -40};

std::vector<BandReading> moved(std::vector<BandReading> bands, double by) {
    for (BandReading& b : bands) b.start_mm += by;
    return bands;
}

const std::filesystem::path door = samples / "photos/door.jpg", dusk = samples / "photos/dusk.jpg";

ReadOptions options() {
    ReadOptions out;
    out.layout = sample_layout();
    return out;
}

bool says(const std::vector<std::string>& warnings, const std::string& words) {
    return std::any_of(warnings.begin(), warnings.end(),
                       [&](const std::string& w) { return w.find(words) != std::string::npos; });
}

}  // namespace

TEST_CASE("A card that was moved along the rod is found by the wraps' edges and colours") {
    const std::vector<BandReading> one{band(0, 30, blank), band(30, 20, red), band(50, 15, blank),
                                       band(65, 20, blue), band(85, 30, blank)};
    for (const double shift : {-20.0, -0.4, 0.0, 13.0}) {
        INFO(shift);
        const auto found = shift_between(one, moved(one, -shift));
        REQUIRE(found);
        CHECK(*found == Approx(shift).margin(1e-9));
    }
    // Two wraps of one colour: the edges alone would fit either.
    const std::vector<BandReading> nearer{band(0, 20, blank), band(20, 20, blue), band(40, 60, blank)};
    CHECK(*shift_between(one, nearer) == Approx(45));
}

TEST_CASE("Bands of other colours are another wrap") {
    const std::vector<BandReading> one{band(0, 40, red), band(40, 40, blue)},
        other{band(0, 40, {80, 0, 80}), band(40, 40, {60, -50, 20})};
    CHECK_FALSE(shift_between(one, other));
    CHECK_FALSE(shift_between(one, {}));
}

TEST_CASE("One photo alone is read as ever, and twice the same photo makes nothing surer that both share") {
    const auto once = read_photos(std::vector<PhotoToRead>{{door, ""}}, options());
    const auto twice = read_photos(std::vector<PhotoToRead>{{door, ""}, {door, ""}}, options());
    REQUIRE((once && twice));
    CHECK(once->photos.empty());
    CHECK(twice->photos.size() == 2);
    REQUIRE(twice->bands.size() == once->bands.size());
    for (std::size_t i = 0; i < once->bands.size(); ++i) {
        const BandReading &a = once->bands[i], &b = twice->bands[i];
        CHECK(b.photos == 2);
        CHECK(b.start_mm == Approx(a.start_mm));
        CHECK(b.colour.lab.L == Approx(a.colour.lab.L));
        CHECK(b.colour.covariance(0, 0) < a.colour.covariance(0, 0));
        CHECK(b.colour.covariance(0, 0) > a.colour.shared(0, 0) * 0.999);
        CHECK(b.colour.shared(0, 0) == Approx(a.colour.shared(0, 0)));
        CHECK_FALSE(says(b.warnings, "disagree"));
        CHECK(validate(b.colour));
    }
}

TEST_CASE("Photos that disagree beyond their intervals say so, and the band is less sure for it") {
    WrapReading one;
    one.photo = "shop/door.jpg";
    one.bands = {band(0, 40, blank), band(40, 40, red)};
    for (BandReading& b : one.bands) b.colour.covariance = Matrix3::identity();
    WrapReading other = one;
    other.photo = "shop/tube.jpg";
    other.bands[0].colour.lab.L += 1;
    other.bands[1].colour.lab.L += 8;
    other.bands[1].length_mm = 39;
    const auto both = join_readings({one, other});
    REQUIRE(both);
    CHECK_FALSE(says(both->bands[0].warnings, "disagree"));
    CHECK(both->bands[0].colour.covariance(0, 0) == Approx(0.5));
    CHECK(both->bands[0].colour.lab.L == Approx(20.5));
    CHECK(says(both->bands[1].warnings, "door.jpg and tube.jpg"));
    CHECK(both->bands[1].colour.covariance(0, 0) == Approx(0.5 * (8 * 8 / 2.0) / 3).epsilon(1e-3));
    CHECK(both->bands[1].length_mm == Approx(39.5));
}

TEST_CASE("Of metallic thread two photos tell the lightest and the darkest look that either shows, and are no disagreement") {
    const auto seen = [](const char* photo, double face, double flop) {
        WrapReading out;
        out.photo = photo;
        out.bands = {band(0, 40, blank), band(40, 40, {(face + flop) / 2, 5, 40})};
        for (BandReading& b : out.bands) b.colour.covariance = Matrix3::identity();
        out.bands[1].colour.covariance(0, 0) = 100;
        out.bands[1].looks.emplace();
        out.bands[1].looks->face.lab = {face, 5, 40};
        out.bands[1].looks->flop.lab = {flop, 5, 40};
        out.bands[1].warnings = {in_words(*out.bands[1].looks)};
        return out;
    };
    const auto both = join_readings({seen("a.jpg", 70, 50), seen("b.jpg", 82, 60)});
    REQUIRE(both);
    const BandReading& metallic = both->bands[1];
    REQUIRE(metallic.looks);
    CHECK(metallic.looks->face.lab.L == 82);
    CHECK(metallic.looks->flop.lab.L == 50);
    CHECK(metallic.warnings == std::vector<std::string>{in_words(*metallic.looks)});
    CHECK_FALSE(both->bands[0].looks);

    // A photo that shows no glitter knows no better.
    WrapReading matt = seen("c.jpg", 55, 45);
    matt.bands[1].looks.reset();
    matt.bands[1].warnings.clear();
    matt.bands[1].colour.covariance = Matrix3::identity();
    const auto mixed = join_readings({seen("a.jpg", 70, 50), matt});
    REQUIRE(mixed);
    CHECK(mixed->bands[1].colour.lab.L == Approx(60));
    CHECK(mixed->bands[1].photos == 2);
}

TEST_CASE("Edges given by hand for the first photo go for the others, at their own places") {
    const auto first = read_photo(door, options());
    REQUIRE(first);
    ReadOptions by_hand = options();
    by_hand.edges_mm.emplace();
    for (std::size_t i = 1; i < first->bands.size(); ++i)
        if (i != 2) by_hand.edges_mm->push_back(first->bands[i].start_mm);
    const std::string bytes = text_of(door);
    const auto both = read_photos(std::vector<PhotoToRead>{{door, ""}, {"the same", "tube", {reinterpret_cast<const std::uint8_t*>(bytes.data()), bytes.size()}}}, by_hand);
    REQUIRE(both);
    REQUIRE(both->bands.size() == 6);
    CHECK(both->bands[1].photos == 2);
    CHECK(both->bands[1].length_mm == Approx(first->bands[1].length_mm + first->bands[2].length_mm).margin(0.01));
    CHECK(both->photos[1] == "the same");
}

TEST_CASE("A photo of another rod, and a region for two photos, are refused") {
    const auto refused = read_photos(std::vector<PhotoToRead>{{door, ""}, {dusk, ""}}, options());
    REQUIRE_FALSE(refused);
    CHECK(refused.error().reason == Reason::cannot_measure);
    CHECK(refused.error().where == dusk.string());
    ReadOptions by_hand = options();
    by_hand.region = PixelRegion{900, 700, 120, 8};
    const auto two = read_photos(std::vector<PhotoToRead>{{door, ""}, {door, ""}}, by_hand);
    REQUIRE_FALSE(two);
    CHECK(two.error().where == "--region");
}

#include "photo/exif.hpp"

#include <catch2/catch.hpp>

#include "support/dng.hpp"

using namespace bindhue::capture;

TEST_CASE("A TIFF structure's directories are found, and one that runs in a circle ends") {
    Dng dng;
    dng.width = dng.height = 4;
    dng.mosaic.assign(16, 1000);
    dng.orientation = 7;
    ImageBytes file = dng.bytes();
    const TiffView plain(file);
    REQUIRE(plain.valid());
    CHECK(plain.directories() == std::vector<std::uint32_t>{8});
    CHECK(plain.whole(8));
    CHECK(plain.number(8, 0x0106) == 32803);
    CHECK(plain.text(8, 0x0110) == "Invented One");
    CHECK(read_exif(plain).orientation == 7);
    CHECK(read_exif(plain).camera == "Invented One");
    // The next directory of the first is the first.
    const std::size_t next = 8 + 2 + std::size_t{12} * file[8];
    file[next] = 8;
    CHECK(TiffView(file).directories() == std::vector<std::uint32_t>{8});
    // And one far outside is none.
    file[next + 3] = 0x7F;
    CHECK(TiffView(file).directories() == std::vector<std::uint32_t>{8});
}

TEST_CASE("An orientation that is none is upright") {
    for (const int said : {0, 9, 65535}) {
        Dng dng;
        dng.width = dng.height = 2;
        dng.mosaic.assign(4, 1000);
        dng.orientation = static_cast<std::uint16_t>(said);
        CHECK(read_exif(TiffView(dng.bytes())).orientation == 1);
    }
    CHECK(read_exif(TiffView({})).orientation == 1);
}

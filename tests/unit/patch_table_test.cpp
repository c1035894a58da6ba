#include "shop/patch_table.hpp"

#include <catch2/catch.hpp>

using namespace bindhue;
using namespace bindhue::capture;
using Catch::Matchers::Contains;

namespace {

std::string refused(std::string_view text, bool linear = false) {
    const auto patches = read_patch_table(text, "t.csv", linear);
    REQUIRE_FALSE(patches);
    CHECK_FALSE(patches.error().mend.empty());
    return patches.error().where + " | " + patches.error().what;
}

}  // namespace

TEST_CASE("Patch means are read from columns in any order") {
    const auto patches = read_patch_table(
        "b,a,L,B,G,R,id,y_mm,x_mm,clipped,batch\n"
        "1,0,94,0.93,0.92,0.91,white,10,20,no,x\n"
        "53,67,46,0.2,0.3,0.8,\"red, vivid\",,,1,y\n",
        "t.csv", false);
    REQUIRE(patches);
    REQUIRE(patches->size() == 2);
    const PatchSample& white = (*patches)[0];
    CHECK(white.id == "white");
    CHECK(white.rgb == Vector3{0.91, 0.92, 0.93});
    CHECK(white.reference.vector() == Vector3{94, 0, 1});
    REQUIRE(white.place);
    CHECK(white.place->x_mm == 20);
    CHECK(white.place->y_mm == 10);
    CHECK_FALSE(white.clipped);
    CHECK((*patches)[1].id == "red, vivid");
    CHECK((*patches)[1].clipped);
    CHECK_FALSE((*patches)[1].place);
}

TEST_CASE("Without a role a patch of chroma up to 4 is grey, and only the table makes a check or a trap") {
    const auto patches = read_patch_table(
        "id,R,G,B,L,a,b,role\n"
        "1,.5,.5,.5,50,2.4,3.2,\n"
        "2,.5,.5,.5,50,3,3,\n"
        "3,.5,.5,.5,50,0,0,check\n"
        "4,.0,.0,.0,2,0,0,trap\n"
        "5,.0,.0,.0,2,0,0,\n"
        "6,.5,.5,.5,50,0,0,Colour\n",
        "t.csv", false);
    REQUIRE(patches);
    const std::vector<PatchRole> expected{PatchRole::grey, PatchRole::colour, PatchRole::check,
                                          PatchRole::trap, PatchRole::grey,   PatchRole::colour};
    for (std::size_t i = 0; i < expected.size(); ++i) CHECK((*patches)[i].role == expected[i]);
}

TEST_CASE("Linear means may stray beyond the scale, encoded ones not") {
    const std::string text = "id,R,G,B,L,a,b\nblack,-0.001,0,1.01,5,0,0\n";
    CHECK(read_patch_table(text, "t.csv", true));
    CHECK_THAT(refused(text), Contains("t.csv: line 2, column R | -0.001 is out of range"));
    CHECK_THAT(refused("id,R,G,B,L,a,b\nblack,0,0,2e6,5,0,0\n", true),
               Contains("column B | 2e6 is out of range"));
}

TEST_CASE("A wrong patch table is refused with line and column, whole") {
    const std::string heading = "id,R,G,B,L,a,b\n", good = "p,0.5,0.5,0.5,50,0,0\n";
    CHECK_THAT(refused("id,R,G,L,a,b\nx,1,1,1,1,1\n"), Contains("line 1 | The heading lacks B"));
    CHECK_THAT(refused(heading + good + good), Contains("line 3, column id | Patch p is there twice"));
    CHECK_THAT(refused(heading + good + ",0.5,0.5,0.5,50,0,0\n"),
               Contains("line 3, column id | The patch has no id"));
    CHECK_THAT(refused(heading + good + "q,0.5,nan,0.5,50,0,0\n"),
               Contains("line 3, column G | \"nan\" is not"));
    CHECK_THAT(refused(heading + good + "q,128,128,128,50,0,0\n"), Contains("line 3, column R | 128 is out"));
    CHECK_THAT(refused(heading + good + "q,0.5,0.5,0.5,150,0,0\n"),
               Contains("line 3, column L | 150 is out"));
    CHECK_THAT(refused(heading + good + "q,0.5,0.5,0.5,50,,0\n"),
               Contains("line 3, column a | There is no number"));
    CHECK_THAT(refused("id,R,G,B,L,a,b,x_mm\np,1,1,1,1,1,1,1\n"), Contains("Only one of the columns"));
    CHECK_THAT(refused("id,R,G,B,L,a,b,x_mm,y_mm\np,1,1,1,1,1,1,1,\n"),
               Contains("column y_mm | There is no number"));
    CHECK_THAT(refused("id,R,G,B,L,a,b,clipped\np,1,1,1,1,1,1,perhaps\n"),
               Contains("column clipped | This is neither"));
    CHECK_THAT(refused("id,R,G,B,L,a,b,role\np,1,1,1,1,1,1,white\n"),
               Contains("column role | This role is not known"));
    const auto whole_numbers = read_patch_table(heading + "q,128,128,128,50,0,0\n", "t.csv", false);
    CHECK_THAT(whole_numbers.error().mend, Contains("255"));
}

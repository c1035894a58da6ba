#include "colour/beside.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "colour/difference.hpp"
#include "colour/spectrum.hpp"

using namespace bindhue;

namespace {

Reading read(const Lab<D50>& lab, double sd, const std::string& light = "door") {
    return {lab, Matrix3::diagonal({sd * sd, sd * sd, sd * sd}), {"phone", "bench", light}, {}};
}

}  // namespace

TEST_CASE("Old beside new is told with its interval, and as visible only when it surely is") {
    const Lab<D50> old_look{40, 30, 15};
    const std::vector<Beside> same{{"door", read(old_look, 0.2), read({40.1, 30.1, 15}, 0.2)}}, apart{{"door", read(old_look, 0.2), read({46, 30, 15}, 0.2)}},
        unsure{{"door", read(old_look, 2), read({42, 30, 15}, 2)}};
    CHECK(check_beside(same)->differences[0].visible == Visible::no);
    const auto found = check_beside(apart);
    REQUIRE(found);
    CHECK(found->differences[0].visible == Visible::yes);
    CHECK(found->differences[0].leans == "lighter");
    CHECK(found->differences[0].shift.delta_e.value == Approx(ciede2000(old_look, Lab<D50>{46, 30, 15})).margin(0.3));
    CHECK(check_beside(unsure)->differences[0].visible == Visible::cannot_tell);
    CHECK_FALSE(found->hidden);
    // A wider tolerance lets it pass.
    CHECK(check_beside(apart, 8)->differences[0].visible == Visible::no);
}

TEST_CASE("A light that hides what another shows is named") {
    const Beside door{"door", read({40, 30, 15}, 0.2), read({40.3, 30, 15.2}, 0.2)}, tube{"tube", read({41, 29, 15}, 0.2, "tube"), read({41, 22, 17}, 0.2, "tube")};
    for (const bool door_first : {true, false}) {
        const std::vector<Beside> both = door_first ? std::vector<Beside>{door, tube} : std::vector<Beside>{tube, door};
        const auto found = check_beside(both);
        REQUIRE(found);
        REQUIRE(found->hidden);
        CHECK(both[found->hidden->in].light == "door");
        CHECK(both[found->hidden->shown_in].light == "tube");
    }
    // Visible in both: nothing is hidden. Too unsure in one: nothing is claimed.
    const std::vector<Beside> plain{tube, tube}, vague{door, {"tube", read({41, 29, 15}, 4), read({41, 22, 17}, 4)}};
    CHECK_FALSE(check_beside(plain)->hidden);
    CHECK_FALSE(check_beside(vague)->hidden);
}

TEST_CASE("A published kind of metamers, alike by day and apart in lamp light, is found out") {
    // Metamerism as CIE 15:2018, 9.2, defines it: two unlike spectra of one colour under the reference light. Made here by adding to a grey what three humps
    // take from each other under D50, so that the two are alike under D50 to within 0.05 and part under A by the library's own colorimetry.
    const auto hump = [](double centre, double width) {
        Spectrum s;
        for (std::size_t i = 0; i < spectrum_size; ++i) s[i] = std::exp(-std::pow((Spectrum::wavelength_nm(i) - centre) / width, 2));
        return s;
    };
    const Spectrum narrow = hump(660, 20);
    Spectrum one = Spectrum::constant(0.4), other = one;
    std::array<Spectrum, 3> humps{hump(600, 35), hump(540, 35), hump(450, 35)};
    Matrix3 by_hump;
    const Vector3 nothing = reflectance_to_xyz_d50(Spectrum::constant(0)).vector();
    for (std::size_t h = 0; h < 3; ++h) {
        const Vector3 xyz = reflectance_to_xyz_d50(humps[h]).vector();
        for (std::size_t k = 0; k < 3; ++k) by_hump(k, h) = xyz[k] - nothing[k];
    }
    const Vector3 amounts = inverse(by_hump) * reflectance_to_xyz_d50(narrow).vector();
    for (std::size_t i = 0; i < spectrum_size; ++i) {
        other[i] += 0.35 * narrow[i];
        for (std::size_t h = 0; h < 3; ++h) other[i] -= 0.35 * amounts[h] * humps[h][i];
    }
    const auto look = [](const Spectrum& s, Illuminant light) { return Lab<D50>::from(reflectance_to_lab_under(s, light)); };
    const std::vector<Beside> seen{{"door", read(look(one, Illuminant::D50), 0.2), read(look(other, Illuminant::D50), 0.2)},
                                   {"lamp", read(look(one, Illuminant::A), 0.2, "lamp"), read(look(other, Illuminant::A), 0.2, "lamp")}};
    const auto found = check_beside(seen, 1.0);
    REQUIRE(found);
    REQUIRE(found->hidden);
    CHECK(seen[found->hidden->shown_in].light == "lamp");
}

TEST_CASE("What can't be compared is refused") {
    CHECK(check_beside({}).error().reason == Reason::too_few);
    const std::vector<Beside> one{{"", read({40, 0, 0}, 1), read({std::nan(""), 0, 0}, 1)}};
    CHECK(check_beside(one).error().where == "new wrap");
    const std::vector<Beside> sound{{"", read({40, 0, 0}, 1), read({41, 0, 0}, 1)}};
    CHECK_FALSE(check_beside(sound, 0));
    CHECK_FALSE(check_beside(sound, std::nan("")));
}

#include "colour/coating.hpp"

#include <catch2/catch.hpp>
#include <chrono>
#include <cmath>
#include <limits>
#include <random>
#include <vector>

#include "colour/difference.hpp"

using namespace bindhue;

namespace {

Reading exact(double L, double C = 0, double h = 0) { return {to_lab(LCh<D50>{L, C, h}), {}, {}}; }

struct Thread {
    const char* name;
    Reading dry;
};
// Typical colours of thread, as the trade names them; the values are made up.
const std::vector<Thread>& threads() {
    static const std::vector<Thread> all{{"white", exact(91)},
                                         {"yellow", exact(90, 46, 103)},
                                         {"orange", exact(84, 46, 82)},
                                         {"red", exact(71, 33, 27)},
                                         {"scarlet", exact(45, 62, 35)},
                                         {"blue", exact(69, 36, 256)},
                                         {"green", exact(75, 37, 155)},
                                         {"navy", exact(25, 25, 280)},
                                         {"tan", exact(87, 8, 83)},
                                         {"garnet", exact(30, 35, 20)},
                                         {"grey", exact(81)},
                                         {"mid grey", exact(50)},
                                         {"dark grey", exact(30)},
                                         {"black", exact(14, 1, 280)}};
    return all;
}
const Reading black_blank = exact(16), white_ground = exact(93);

Lab<D50> look(Material material, Schedule schedule, const Reading& dry, const Reading& ground,
              double size_mm = 0.15) {
    const auto result = predict_finished(material, schedule, size_mm, dry, ground);
    REQUIRE(result);
    return result->lab;
}

constexpr std::array layered{Material::nylon,         Material::ncp_nylon, Material::polyester,
                             Material::ncp_polyester, Material::silk,      Material::monofilament};

}  // namespace

TEST_CASE("materials and schedules are read back from their names, and others are refused with the list") {
    for (const Material m : all_materials) CHECK(*parse_material(name(m)) == m);
    for (const Schedule s : all_schedules) CHECK(*parse_schedule(name(s)) == s);
    for (const char* bad : {"", "Nylon", "cotton", "nylon "}) {
        const auto result = parse_material(bad);
        REQUIRE_FALSE(result);
        CHECK(result.error().mend.find("ncp-nylon") != std::string::npos);
    }
    CHECK_FALSE(parse_schedule("preserver"));
    CHECK(coats(Schedule::none) == 0);
    CHECK(coats(Schedule::finish) == 2);
    CHECK(coats(Schedule::preserver_finish) == 4);
}

TEST_CASE("a lighter ground never gives a darker look") {
    for (const Material material : layered)
        for (const Schedule schedule : all_schedules)
            for (const Thread& thread : threads()) {
                double before = -1;
                for (double L = 2; L <= 98; L += 12) {
                    const double now = look(material, schedule, thread.dry, exact(L)).L;
                    CAPTURE(name(material), name(schedule), thread.name, L);
                    CHECK(now >= before - 1e-9);
                    before = now;
                }
            }
}

TEST_CASE("every look is that of a real surface, with a covariance that holds water") {
    for (const Material material : all_materials)
        for (const Schedule schedule : all_schedules)
            for (const double L : {0.0, 3.0, 40.0, 97.0, 100.0})
                for (const double C : {0.0, 60.0})
                    for (const double h : {20.0, 100.0, 190.0, 290.0})
                        for (const double size : {min_thread_mm, max_thread_mm}) {
                            Reading dry = exact(L, C, h);
                            dry.covariance =
                                Matrix3::diagonal({400, 400, 400});  // so that no colour is refused
                            const auto result =
                                predict_finished(material, schedule, size, dry, exact(60, 20, h));
                            CAPTURE(name(material), name(schedule), L, C, h, size);
                            REQUIRE(result);
                            CHECK(validate(*result));
                            if (C == 0) CHECK(to_xyz(result->lab).Y <= 1.0 + 1e-9);
                        }
}

TEST_CASE("black stays black") {
    for (const Material material :
         {Material::nylon, Material::ncp_nylon, Material::polyester, Material::silk})
        for (const Schedule schedule : all_schedules)
            for (const Reading& ground : {black_blank, white_ground}) {
                const Lab<D50> black = look(material, schedule, exact(14), ground);
                CAPTURE(name(material), name(schedule));
                CHECK(black.L < 20);
                CHECK(std::hypot(black.a, black.b) < 2);
            }
}

TEST_CASE("an opaque layer ignores its ground, and a clear one shows it") {
    const auto dry = Surface::from(exact(60, 30, 40)), dark = Surface::from(exact(10)),
               light = Surface::from(exact(95));
    REQUIRE((dry && dark && light));
    CoatingParameters p = coating_prior(Material::nylon, Schedule::finish);
    p.scattering = 1e4;
    CHECK(ciede2000(coated_look(p, 0.15, *dry, *dark), coated_look(p, 0.15, *dry, *light)) < 1e-6);

    // Bare, opaque thread looks as it does on the spool.
    const CoatingParameters bare{1e4, 1, 1, 0, 0, 1};
    CHECK(ciede2000(coated_look(bare, 0.15, *dry, *dark), Lab<D50>(dry->reading().lab)) < 0.001);

    // Next to no layer, touched all over by its coat: a lacquered ground under more of the same lacquer.
    CoatingParameters clear = p;
    clear.scattering = 1e-6;
    clear.contact = 1;
    for (const auto* ground : {&*dark, &*light})
        CHECK(ciede2000(coated_look(clear, 0.15, *dry, *ground), Lab<D50>(ground->reading().lab)) < 0.01);
}

TEST_CASE("thicker thread hides more") {
    for (const Schedule schedule : all_schedules) {
        const auto show_through = [&](double size) {
            return look(Material::nylon, schedule, exact(85, 30, 90), white_ground, size).L -
                   look(Material::nylon, schedule, exact(85, 30, 90), black_blank, size).L;
        };
        CHECK(show_through(0.3) < show_through(0.15));
        CHECK(show_through(0.15) < show_through(0.1));
    }
}

TEST_CASE("regular nylon under finish darkens over a dark blank, deep thread over white too, and preserver keeps it nearer its dry colour") {
    // Common practice, and the optics of Lekner and Dorf 1988 (smooth film) and of Twomey, Bohren,
    // Mergenthaler 1986 (less scattering between wet fibres).
    for (const Thread& thread : threads())
        for (const Reading& ground : {black_blank, white_ground}) {
            const Lab<D50> finished = look(Material::nylon, Schedule::finish, thread.dry, ground);
            const Lab<D50> sealed = look(Material::nylon, Schedule::preserver_finish, thread.dry, ground);
            CAPTURE(thread.name, ground.lab.L);
            const bool dark = ground.lab.L < 50;
            // A white ground lights up what the finish has made clear: by rays through fibres (samples/render) pale thread over white grows up to 11 L
            // lighter, by piles of plates 14 darker, and both darken deep thread; so do not ask more than that.
            if (dark || thread.dry.lab.L <= 45) CHECK(finished.L < thread.dry.lab.L - 5);
            CHECK(ciede2000(thread.dry.lab, sealed) < (dark ? 0.6 : 0.9) * ciede2000(thread.dry.lab, finished));
        }
}

TEST_CASE("thread made to need no preserver moves little, silk most, polyester between") {
    for (const Thread& thread : threads()) {
        if (thread.dry.lab.L < 20) continue;  // black moves in none
        const auto shift = [&](Material material) {
            return ciede2000(thread.dry.lab, look(material, Schedule::finish, thread.dry, black_blank));
        };
        CAPTURE(thread.name);
        CHECK(shift(Material::ncp_nylon) < 8);
        CHECK(shift(Material::ncp_nylon) < shift(Material::polyester));
        CHECK(shift(Material::polyester) < shift(Material::nylon));
        CHECK(shift(Material::nylon) < shift(Material::silk));
    }
}

TEST_CASE(
    "the ground matters most for white, yellow, orange and tan, least for black, grey and deep colours") {
    const auto show_through = [](const char* wanted) {
        for (const Thread& thread : threads())
            if (std::string(thread.name) == wanted)
                return ciede2000(look(Material::nylon, Schedule::finish, thread.dry, black_blank),
                                 look(Material::nylon, Schedule::finish, thread.dry, white_ground));
        FAIL("no thread of that name");
        return 0.0;
    };
    for (const char* light : {"white", "yellow", "orange", "tan"})
        for (const char* deep : {"black", "mid grey", "dark grey", "garnet", "navy", "scarlet"})
            CHECK(show_through(light) > show_through(deep));
    CHECK(show_through("black") < 0.5);
    // Over white the chroma of yellow and orange rises (both judges of samples/render). Which way their hue turns is no fact of the trade, and the judges
    // differ on it.
    for (const char* name_of : {"yellow", "orange"})
        for (const Thread& thread : threads())
            if (std::string(thread.name) == name_of)
                CHECK(to_lch(look(Material::nylon, Schedule::finish, thread.dry, white_ground)).C > to_lch(thread.dry.lab).C);
}

TEST_CASE("pale nylon and silk take the colour of the blank under finish, and keep their own under preserver") {
    // The trade: white nylon over a lime blank nearly disappears; white silk turns clear; on cane tan vanishes as if white.
    const Reading lime = exact(60, 60, 120), cane = exact(55, 30, 75);
    for (const Material material : {Material::nylon, Material::silk})
        for (const auto& [dry, ground] : {std::pair{exact(91), lime}, std::pair{exact(87, 8, 83), cane}}) {
            const Lab<D50> finished = look(material, Schedule::finish, dry, ground), sealed = look(material, Schedule::preserver_finish, dry, ground);
            CAPTURE(name(material), ground.lab.L);
            CHECK(ciede2000(finished, ground.lab) < 0.6 * ciede2000(dry.lab, ground.lab));
            CHECK(ciede2000(finished, ground.lab) < ciede2000(finished, dry.lab));
            CHECK(ciede2000(sealed, dry.lab) < ciede2000(sealed, ground.lab));
        }
}

TEST_CASE("metallic keeps its colour, and its angle is in the covariance") {
    const Reading dry{{60, 5, 30}, Matrix3::identity(), {"phone", "bench", "door"}};
    for (const Schedule schedule : all_schedules) {
        const auto result = predict_finished(Material::metallic, schedule, 0.15, dry, black_blank);
        REQUIRE(result);
        CHECK(result->lab.L == 60);
        CHECK(result->covariance(0, 0) > 25);
        CHECK(result->context.camera == "phone");
    }
}

TEST_CASE("the error of the dry reading and of the ground is carried through") {
    for (const Schedule schedule : all_schedules)
        for (const Thread& thread : threads()) {
            if (thread.dry.lab.L < 20) continue;
            Reading dry = thread.dry;
            dry.covariance = Matrix3::diagonal({1, 0.5, 2});
            const auto surface = Surface::from(dry), ground = Surface::from(white_ground);
            REQUIRE((surface && ground));
            const Matrix3 carried =
                predicted_covariance(Material::nylon, schedule, 0.15, *surface, *ground).from_dry;

            // By hand: the look of readings one standard deviation to each side, through spectra of their
            // own.
            Matrix3 expected;
            const Vector3 sd{1, std::sqrt(0.5), std::sqrt(2)};
            for (std::size_t axis = 0; axis < 3; ++axis) {
                Vector3 up = thread.dry.lab.vector(), down = up;
                up[axis] += 0.5 * sd[axis];
                down[axis] -= 0.5 * sd[axis];
                const Vector3 x =
                    look(Material::nylon, schedule, {Lab<D50>::from(up), {}, {}}, white_ground).vector();
                const Vector3 y =
                    look(Material::nylon, schedule, {Lab<D50>::from(down), {}, {}}, white_ground).vector();
                for (std::size_t i = 0; i < 3; ++i)
                    for (std::size_t j = 0; j < 3; ++j) expected(i, j) += (x[i] - y[i]) * (x[j] - y[j]);
            }
            CAPTURE(name(schedule), thread.name);
            for (std::size_t i = 0; i < 3; ++i)
                CHECK(std::sqrt(carried(i, i)) == Approx(std::sqrt(expected(i, i))).epsilon(0.2).margin(0.1));
        }
}

TEST_CASE("the covariance is as wide as the spread of the prior that it stands for") {
    // Parameters drawn from the prior's own spread (as documented in coating.cpp, repeated here for nylon
    // under finish); the share of looks within the 95 % ellipsoid tells whether the linear forecast is
    // honest.
    std::mt19937_64 random(11);
    std::normal_distribution<double> normal;
    const auto logit = [](double p) { return std::log(p / (1 - p)); };
    const auto logistic = [](double x) { return 1 / (1 + std::exp(-x)); };
    int inside = 0, total = 0;
    for (const Thread& thread : threads())
        for (const Reading& ground : {black_blank, exact(50, 10, 70), white_ground}) {
            const auto dry = Surface::from(thread.dry), under = Surface::from(ground);
            REQUIRE((dry && under));
            const auto forecast =
                predict_finished(Material::nylon, Schedule::finish, 0.15, thread.dry, ground);
            REQUIRE(forecast);
            for (int i = 0; i < 100; ++i) {
                CoatingParameters p = coating_prior(Material::nylon, Schedule::finish);
                p.scattering *= std::exp(1.0 * normal(random));
                p.scattering_ratio *= std::exp(0.8 * normal(random));
                p.absorption_ratio *= std::exp(0.4 * normal(random));
                p.contact = logistic(logit(p.contact) + 0.9 * normal(random));
                p.haze = logistic(logit(p.haze) + 1.2 * normal(random));
                Lab<D50> truth = coated_look(p, 0.15, *dry, *under);
                truth.L += 1.7 * normal(random);
                const double sd = 1.7 * (0.6 + 0.015 * std::hypot(thread.dry.lab.a, thread.dry.lab.b));
                truth.a += sd * normal(random);
                truth.b += sd * normal(random);
                inside += mahalanobis_squared(truth, *forecast) <= 7.815;
                ++total;
            }
        }
    const double share = static_cast<double>(inside) / total;
    CHECK(share > 0.90);
    CHECK(share < 0.99);
}

TEST_CASE("what no thread or surface can be is refused, and says where") {
    const double nan = std::numeric_limits<double>::quiet_NaN();
    for (const double size : {0.0, -1.0, 2.0, nan, 1e300}) {
        const auto result = predict_finished(Material::nylon, Schedule::finish, size, exact(50), black_blank);
        REQUIRE_FALSE(result);
        CHECK(result.error().where == "size_mm");
    }
    for (const Reading& bad : {exact(60, 150, 200), exact(nan), exact(5, 90, 90), exact(109, 0, 0)}) {
        const auto as_dry = predict_finished(Material::nylon, Schedule::finish, 0.15, bad, black_blank);
        REQUIRE_FALSE(as_dry);
        CHECK(as_dry.error().where == "dry");
        const auto as_ground = predict_finished(Material::nylon, Schedule::finish, 0.15, exact(50), bad);
        REQUIRE_FALSE(as_ground);
        CHECK(as_ground.error().where == "ground");
    }
    // Just outside is taken for the error of the reading.
    CHECK(predict_finished(Material::nylon, Schedule::finish, 0.15, exact(101), black_blank));
}

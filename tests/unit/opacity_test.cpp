#include "colour/opacity.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "colour/coat_learning.hpp"
#include "colour/difference.hpp"
#include "colour/ranking.hpp"

using namespace bindhue;

namespace {

const Lab<D50> black{18, 0, 0}, white{93, -1, 2};

Reading read(const Lab<D50>& lab, double sd = 0.3) { return {lab, Matrix3::diagonal({sd * sd, sd * sd, sd * sd}), {}}; }

// A thread whose layer scatters so much, across both grounds, as the library's own layer has it.
OpacityTest stick(const Lab<D50>& dry, double scattering, double size_mm, double sd = 0.3) {
    CoatingParameters layer = coating_prior(Material::nylon, Schedule::none);
    layer.scattering = scattering * nominal_thread_mm / size_mm;
    const Surface thread = Surface::nearest(read(dry));
    const auto over = [&](const Lab<D50>& ground) { return read(coated_look(layer, size_mm, thread, Surface::nearest(read(ground))), sd); };
    return {read(dry), over(black), read(black), over(white), read(white)};
}

}  // namespace

TEST_CASE("The scattering of a layer is found from the thread over black and over white, at any size") {
    for (const double scattering : {0.3, 1.0, 4.0})
        for (const double size : {0.11, 0.26})
            for (const Lab<D50>& dry : {Lab<D50>{80, 0, 5}, {55, 40, 25}, {50, -10, -30}}) {
                const auto found = find_opacity(Material::nylon, size, stick(dry, scattering, size));
                CAPTURE(scattering, size, dry.L);
                REQUIRE(found);
                CHECK(std::log(found->layer.scattering / scattering) == Approx(0).margin(2 * found->layer.log_sd));
                if (scattering < 2) CHECK(found->layer.log_sd < 0.7);
                CHECK(found->as_thread);
                CHECK(found->contrast_ratio > 0);
                CHECK(found->contrast_ratio < 1);
            }
}

TEST_CASE("More scattering is a higher contrast ratio, and a thread that is black itself tells little of it") {
    const auto thin = find_opacity(Material::nylon, 0.15, stick({70, 0, 5}, 0.5, 0.15)), thick = find_opacity(Material::nylon, 0.15, stick({70, 0, 5}, 5, 0.15)),
               deep = find_opacity(Material::nylon, 0.15, stick({5, 0, 0}, 0.5, 0.15));
    REQUIRE((thin && thick && deep));
    CHECK(thick->contrast_ratio > thin->contrast_ratio + 0.2);
    CHECK(deep->layer.log_sd > 1.5 * thin->layer.log_sd);
}

TEST_CASE("The stated deviation holds the truth under noisy readings") {
    std::mt19937 random(3);
    std::normal_distribution<double> noise(0, 0.5);
    int held = 0;
    constexpr int rounds = 60;
    for (int i = 0; i < rounds; ++i) {
        OpacityTest test = stick({65, 10, 20}, 1.3, 0.15, 0.5);
        for (Reading* reading : {&test.over_black, &test.over_white}) {
            reading->lab.L += noise(random);
            reading->lab.a += noise(random);
            reading->lab.b += noise(random);
        }
        const auto found = find_opacity(Material::nylon, 0.15, test);
        REQUIRE(found);
        held += std::abs(std::log(found->layer.scattering / 1.3)) < 1.96 * found->layer.log_sd;
    }
    CHECK(held >= 54);
}

TEST_CASE("What no layer does is refused or told") {
    const OpacityTest sound = stick({70, 0, 5}, 0.3, 0.15);
    OpacityTest swapped = sound;
    std::swap(swapped.over_black, swapped.over_white);
    const auto found = find_opacity(Material::nylon, 0.15, swapped);
    REQUIRE(found);
    CHECK_FALSE(found->as_thread);
    OpacityTest alike = sound;
    alike.white.lab.L = 30;
    CHECK_FALSE(find_opacity(Material::nylon, 0.15, alike));
    CHECK_FALSE(find_opacity(Material::metallic, 0.15, sound));
    CHECK_FALSE(find_opacity(Material::nylon, 5, sound));
    OpacityTest broken = sound;
    broken.over_white.lab.a = std::nan("");
    REQUIRE_FALSE(find_opacity(Material::nylon, 0.15, broken));
    CHECK(find_opacity(Material::nylon, 0.15, broken).error().where == "over_white");
}

TEST_CASE("A known opacity takes the place of the prior on scattering, in prediction, learning and ranking") {
    const Reading dry = read({70, 20, 30}), ground = read(black);
    const auto unknown = predict_finished(Material::nylon, Schedule::finish, 0.15, dry, ground);
    const auto hides = predict_finished(Material::nylon, Schedule::finish, 0.15, dry, ground, LayerOpacity{8, 0.1}),
               shows = predict_finished(Material::nylon, Schedule::finish, 0.15, dry, ground, LayerOpacity{0.4, 0.1});
    REQUIRE((unknown && hides && shows));
    CHECK(hides->lab.L > unknown->lab.L);
    CHECK(unknown->lab.L > shows->lab.L);
    CHECK(shows->covariance(0, 0) < unknown->covariance(0, 0));
    // An opacity that is hardly known changes little.
    const auto hardly = predict_finished(Material::nylon, Schedule::finish, 0.15, dry, ground, LayerOpacity{8, 3});
    CHECK(ciede2000(hardly->lab, unknown->lab) < 0.35 * ciede2000(hides->lab, unknown->lab));
    CHECK_FALSE(predict_finished(Material::nylon, Schedule::finish, 0.15, dry, ground, LayerOpacity{-1, 0.1}));

    const std::vector<CoatTest> tests{{Material::nylon, Schedule::finish, 0.15, black, {60, -20, 15}, {35, -14, 12}},
                                      {Material::nylon, Schedule::finish, 0.15, black, {75, 10, 45}, {45, 15, 38}}};
    const CoatModel model(tests);
    const auto taught = model.predict(Material::nylon, Schedule::finish, 0.15, dry, ground),
               taught_hides = model.predict(Material::nylon, Schedule::finish, 0.15, dry, ground, LayerOpacity{8, 0.1});
    REQUIRE((taught && taught_hides));
    // The coat tests say how much the coated layer scatters: thread that scatters more dry loses more of it in the coat, so the look hardly moves but is surer.
    CHECK(taught_hides->covariance(0, 0) < taught->covariance(0, 0));
    CHECK(ciede2000(taught_hides->lab, taught->lab) < 0.5 * ciede2000(hides->lab, unknown->lab));
    REQUIRE(validate(*taught_hides));

    Palette rack{{"A", "", Material::nylon, "", 0.15, "", LayerOpacity{8, 0.1}, {dry}}, {"B", "", Material::nylon, "", 0.15, "", {}, {dry}}};
    const std::vector<Ground> grounds{{"black", ground, 0}};
    RankingOptions options;
    options.schedules = {Schedule::finish};
    const auto ranked = rank(*hides, rack, grounds, options);
    REQUIRE(ranked);
    CHECK(rack[ranked->front().spool].code == "A");
    rack[0].opacity = LayerOpacity{1000, 0.1};
    CHECK_FALSE(rank(*hides, rack, grounds, options));
}

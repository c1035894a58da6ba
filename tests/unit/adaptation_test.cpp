#include "colour/adaptation.hpp"

#include <catch2/catch.hpp>
#include <limits>

using namespace bindhue;

TEST_CASE("Adaptation takes white to white, and there and back is the identity, by both methods") {
    for (Adaptation method : {Adaptation::bradford, Adaptation::cat16}) {
        const XYZ<D65> white = adapt<D65>(XYZ<D50>::white(), method);
        CHECK(white.X == Approx(D65::X).epsilon(1e-13));
        CHECK(white.Y == Approx(D65::Y).epsilon(1e-13));
        CHECK(white.Z == Approx(D65::Z).epsilon(1e-13));
        const XYZ<IlluminantA> c{0.3, 0.2, 0.05};
        const XYZ<IlluminantA> back = adapt<IlluminantA>(adapt<D50>(c, method), method);
        CHECK(back.X == Approx(c.X).epsilon(1e-13));
        CHECK(back.Y == Approx(c.Y).epsilon(1e-13));
        CHECK(back.Z == Approx(c.Z).epsilon(1e-13));
    }
}

TEST_CASE("The two methods differ, but by little between daylights") {
    const XYZ<D50> c{0.4, 0.3, 0.1};
    const Lab<D65> bradford = to_lab(adapt<D65>(c)), cat16 = to_lab(adapt<D65>(c, Adaptation::cat16));
    const double distance = std::hypot(bradford.L - cat16.L, bradford.a - cat16.a, bradford.b - cat16.b);
    CHECK(distance > 0.01);
    CHECK(distance < 3);
}

TEST_CASE("A screen shows neutrals as neutral, clips what it cannot show, and never gets a NaN") {
    const EncodedSrgb white = to_display({100, 0, 0}), black = to_display({0, 0, 0});
    CHECK(white.r == Approx(1).margin(1e-9));
    CHECK(white.g == Approx(1).margin(1e-9));
    CHECK(white.b == Approx(1).margin(1e-9));
    CHECK(black.r == Approx(0).margin(1e-12));
    for (double L = 5; L < 100; L += 5) {
        const EncodedSrgb grey = to_display({L, 0, 0});
        CHECK(grey.r == Approx(grey.g).margin(1e-9));
        CHECK(grey.b == Approx(grey.g).margin(1e-9));
    }
    const double nan = std::numeric_limits<double>::quiet_NaN();
    for (const Lab<D50>& c : {Lab<D50>{50, 120, -120}, Lab<D50>{140, 0, 0}, Lab<D50>{-5, 3, 3},
                              Lab<D50>{nan, 0, 0}, Lab<D50>{1e9, -1e9, 1e9}}) {
        const EncodedSrgb d = to_display(c);
        for (double v : {d.r, d.g, d.b}) {
            CHECK(v >= 0.0);
            CHECK(v <= 1.0);
        }
    }
}

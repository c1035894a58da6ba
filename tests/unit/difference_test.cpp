#include "colour/difference.hpp"

#include <catch2/catch.hpp>
#include <limits>
#include <random>
#include <vector>

#include "support/ciede2000_reference.hpp"

using namespace bindhue;

namespace {

double reference_value(const Vector3& a, const Vector3& b) {
    return static_cast<double>(reference::ciede2000(a, b));
}

// Lightness, chroma and hue on a grid with greys, equal colours, exactly opposite hues, hues that mirror each
// other about the a axis, and both sides of every boundary of the formula; and random colours.
std::vector<Vector3> dense_colours() {
    std::vector<Vector3> colours;
    for (double L : {0.0, 3.0, 50.0, 77.5, 100.0})
        for (double a : {-127.0, -60.0, -3.0, -1.0, 0.0, 1.0, 3.0, 60.0, 127.0})
            for (double b : {-127.0, -60.0, -3.0, -1.0, 0.0, 1.0, 3.0, 60.0, 127.0})
                colours.push_back({L, a, b});
    for (double C : {1e-9, 0.5, 12.0, 90.0})
        for (double h = 0; h < 360; h += 7.5) {
            const Lab<D50> c = to_lab(LCh<D50>{50, C, h});
            colours.push_back(c.vector());
            colours.push_back({c.L + 1, -c.a, -c.b});
            colours.push_back({c.L + 1, -c.a, -c.b + 1e-7});
            colours.push_back({c.L, c.a, -c.b});
        }
    std::mt19937 random(7);
    std::uniform_real_distribution<double> L(0, 100), ab(-128, 128);
    for (int i = 0; i < 600; ++i) colours.push_back({L(random), ab(random), ab(random)});
    return colours;
}

Lab<D50> lab(const Vector3& v) { return Lab<D50>::from(v); }

template <class T>
std::vector<T> batch_of(const Vector3& ref, const std::vector<Vector3>& samples) {
    std::vector<T> L, a, b, out(samples.size());
    for (const Vector3& s : samples) {
        L.push_back(static_cast<T>(s[0]));
        a.push_back(static_cast<T>(s[1]));
        b.push_back(static_cast<T>(s[2]));
    }
    ciede2000_batch(ref, std::span<const T>(L), std::span<const T>(a), std::span<const T>(b),
                    std::span<T>(out));
    return out;
}

}  // namespace

TEST_CASE("CIEDE2000, scalar and batch in double, is within 1e-12 of the formula in long double") {
    const std::vector<Vector3> colours = dense_colours();
    REQUIRE(colours.size() > 1500);
    double worst_scalar = 0, worst_batch = 0;
    for (std::size_t i = 0; i < colours.size(); i += 29) {
        const std::vector<double> batch = batch_of<double>(colours[i], colours);
        for (std::size_t j = 0; j < colours.size(); ++j) {
            const auto truth = reference::ciede2000(colours[i], colours[j]);
            const auto scalar = ciede2000(lab(colours[i]), lab(colours[j]));
            worst_scalar = std::max(worst_scalar, static_cast<double>(std::abs(scalar - truth)));
            worst_batch = std::max(worst_batch, static_cast<double>(std::abs(batch[j] - truth)));
            if (worst_scalar > 1e-12 || worst_batch > 1e-12) {
                CAPTURE(colours[i], colours[j], scalar, batch[j], truth);
                REQUIRE(worst_scalar <= 1e-12);
                REQUIRE(worst_batch <= 1e-12);
            }
        }
    }
    CHECK(worst_batch > 0);  // an exact zero would mean that nothing was compared
}

TEST_CASE("CIEDE2000 in float is within 1e-4 of the formula in long double") {
    std::vector<Vector3> colours = dense_colours();
    for (Vector3& c : colours)
        for (double& v : c) v = static_cast<float>(v);
    for (std::size_t i = 0; i < colours.size(); i += 29) {
        const std::vector<float> batch = batch_of<float>(colours[i], colours);
        for (std::size_t j = 0; j < colours.size(); ++j) {
            const double truth = reference_value(colours[i], colours[j]);
            if (std::abs(static_cast<double>(batch[j]) - truth) > 1e-4) {
                CAPTURE(colours[i], colours[j], batch[j], truth);
                FAIL("float batch off by " << static_cast<double>(batch[j]) - truth);
            }
        }
    }
}

TEST_CASE("CIEDE2000 is symmetric to the last bit") {
    const std::vector<Vector3> colours = dense_colours();
    int unequal = 0;
    for (std::size_t i = 0; i < colours.size(); i += 5)
        for (const Vector3& c : colours)
            unequal += ciede2000(lab(colours[i]), lab(c)) != ciede2000(lab(c), lab(colours[i]));
    CHECK(unequal == 0);
}

TEST_CASE("Exactly opposite hues take their mean hue upwards from the lesser hue") {
    // A step of 1e-6 degrees to either side of opposite brings the mean hue to either side of the circle; at
    // exactly 180 degrees the published formula takes (h1 + h2) / 2.
    int told_apart = 0;
    for (double scale : {1.0, 2.0, 0.5})
        for (double h = 2.5; h < 360; h += 5) {
            const Lab<D50> c = to_lab(LCh<D50>{50, 40, h});
            const Vector3 a = c.vector(), b{55, -scale * c.a, -scale * c.b};
            const Lab<D50> lo = to_lab(LCh<D50>{55, 40 * scale, h + 180 - 1e-6}),
                           hi = to_lab(LCh<D50>{55, 40 * scale, h + 180 + 1e-6});
            CHECK(ciede2000(lab(a), lab(b)) == Approx(reference_value(a, b)).margin(1e-12));
            const double below = ciede2000(c, lo), above = ciede2000(c, hi), at = ciede2000(c, lab(b));
            // (h1 + h2) / 2 for h1 < h2 = h1 + 180 is the limit from below; for h1 > h2 the limit from above.
            CHECK(at == Approx(h < 180 ? below : above).margin(1e-5));
            told_apart += std::abs(below - above) > 0.1;
        }
    CHECK(told_apart > 100);  // else the check above could not fail
}

TEST_CASE("The mean hue minus 275 degrees is not wrapped") {
    // Mean hue 5 degrees: 270 degrees away by the formula, 90 the other way round, where the rotation term is
    // 1e-6 of its greatest. Big differences show it.
    const Vector3 a{50, 10, 0}, b{50, 120, 21.1};
    const DifferenceTerms t = ciede2000_terms(lab(a), lab(b));
    CHECK(t.rotation == 0);
    CHECK(t.C > 10);
    // Mean hue 350 degrees: 75 degrees away.
    const DifferenceTerms u = ciede2000_terms(Lab<D50>{50, 10, -1.7633}, Lab<D50>{50, 120, -21.1});
    CHECK(u.rotation != 0);
}

TEST_CASE("A grey takes the hue of the other colour, and equal colours differ by zero") {
    for (double h = 0; h < 360; h += 15) {
        const Lab<D50> grey{50, 0, 0}, c = to_lab(LCh<D50>{60, 30, h});
        CHECK(ciede2000(grey, c) == Approx(reference_value(grey.vector(), c.vector())).margin(1e-12));
        CHECK(ciede2000(c, c) == 0);
        CHECK(ciede2000_terms(grey, c).H == 0);
    }
    CHECK(ciede2000(Lab<D50>{50, 0, 0}, Lab<D50>{50, 0, 0}) == 0);
}

TEST_CASE("CIEDE2000 breaks the triangle inequality, so no metric tree may prune by it") {
    std::mt19937 random(3);
    std::uniform_real_distribution<double> L(20, 80), ab(-80, 80), step(-8, 8);
    double worst = 0;
    for (int i = 0; i < 20000; ++i) {
        const Lab<D50> a{L(random), ab(random), ab(random)};
        const Lab<D50> c{a.L, a.a + 4 * step(random), a.b + 4 * step(random)};
        const Lab<D50> b{(a.L + c.L) / 2, (a.a + c.a) / 2, (a.b + c.b) / 2};
        const double direct = ciede2000(a, c), around = ciede2000(a, b) + ciede2000(b, c);
        if (around > 0.5) worst = std::max(worst, direct / around);
    }
    CHECK(worst > 1.01);
}

TEST_CASE("The terms carry signs and add up to the total") {
    const Lab<D50> reference{50, 20, 10};
    CHECK(ciede2000_terms(reference, Lab<D50>{55, 20, 10}).L > 0);
    CHECK(ciede2000_terms(reference, Lab<D50>{45, 20, 10}).L < 0);
    CHECK(ciede2000_terms(reference, Lab<D50>{50, 30, 15}).C > 0);
    CHECK(ciede2000_terms(reference, Lab<D50>{50, 10, 20}).H > 0);
    CHECK(ciede2000_terms(reference, Lab<D50>{50, 20, -10}).H < 0);
    std::mt19937 random(5);
    std::uniform_real_distribution<double> L(0, 100), ab(-100, 100);
    for (int i = 0; i < 1000; ++i) {
        const Lab<D50> a{L(random), ab(random), ab(random)}, b{L(random), ab(random), ab(random)};
        const DifferenceTerms t = ciede2000_terms(a, b);
        CHECK(t.total * t.total == Approx(t.L * t.L + t.C * t.C + t.H * t.H + t.rotation).epsilon(1e-12));
        CHECK(t.total == ciede2000(a, b));
    }
}

TEST_CASE("Weights divide their own term") {
    const Lab<D50> a{40, 20, -30}, b{52, 25, -20};
    const DifferenceTerms plain = ciede2000_terms(a, b), textile = ciede2000_terms(a, b, {2, 1, 1});
    CHECK(textile.L == Approx(plain.L / 2));
    CHECK(textile.C == plain.C);
    CHECK(
        ciede2000(a, b, {1, 3, 0.5}) ==
        Approx(static_cast<double>(reference::ciede2000(a.vector(), b.vector(), 1, 3, 0.5L))).epsilon(1e-13));
}

TEST_CASE("The gradient agrees with central differences") {
    std::mt19937 random(11);
    std::uniform_real_distribution<double> L(2, 98), ab(-90, 90);
    int compared = 0;
    for (int i = 0; i < 3000; ++i) {
        const Vector3 a{L(random), ab(random), ab(random)};
        Vector3 b{L(random), ab(random), ab(random)};
        if (i % 2) b = {a[0] + ab(random) / 30, a[1] + ab(random) / 30, a[2] + ab(random) / 30};
        // Not across the jump at opposite hues.
        const double cosine = (a[1] * b[1] + a[2] * b[2]) / (std::hypot(a[1], a[2]) * std::hypot(b[1], b[2]));
        if (cosine < -0.999 || ciede2000(lab(a), lab(b)) < 0.05) continue;
        ++compared;
        const DifferenceGradient g = ciede2000_gradient(lab(a), lab(b));
        CHECK(g.value == Approx(ciede2000(lab(a), lab(b))).epsilon(1e-12));
        for (std::size_t k = 0; k < 3; ++k) {
            const double h = 1e-5;
            Vector3 up = a, down = a;
            up[k] += h, down[k] -= h;
            const double by_reference = (ciede2000(lab(up), lab(b)) - ciede2000(lab(down), lab(b))) / (2 * h);
            up = down = b;
            up[k] += h, down[k] -= h;
            const double by_sample = (ciede2000(lab(a), lab(up)) - ciede2000(lab(a), lab(down))) / (2 * h);
            CAPTURE(a, b, k);
            REQUIRE(g.by_reference[k] == Approx(by_reference).margin(2e-6));
            REQUIRE(g.by_sample[k] == Approx(by_sample).margin(2e-6));
        }
    }
    CHECK(compared > 2500);
}

TEST_CASE("The gradient is finite at grey and zero at equal colours") {
    const Lab<D50> grey{50, 0, 0}, other{50, 10, 5};
    for (const auto& [a, b] :
         {std::pair{grey, other}, std::pair{other, grey}, std::pair{grey, Lab<D50>{60, 0, 0}}}) {
        const DifferenceGradient g = ciede2000_gradient(a, b);
        for (std::size_t k = 0; k < 3; ++k) {
            CHECK(std::isfinite(g.by_reference[k]));
            CHECK(std::isfinite(g.by_sample[k]));
        }
    }
    CHECK(ciede2000_gradient(grey, Lab<D50>{60, 0, 0}).by_sample[0] > 0.5);
    for (const Lab<D50>& c : {grey, other}) {
        const DifferenceGradient g = ciede2000_gradient(c, c);
        CHECK(g.value == 0);
        CHECK(g.by_sample == Vector3{});
        CHECK(g.by_reference == Vector3{});
    }
}

TEST_CASE("A value that is not a number stays one, in every place and path") {
    const double nan = std::numeric_limits<double>::quiet_NaN();
    const std::vector<Vector3> bad{{nan, 1, 2}, {1, nan, 2}, {1, 2, nan}};
    for (const Vector3& b : bad) {
        CHECK(std::isnan(ciede2000(Lab<D50>{50, 1, 2}, lab(b))));
        CHECK(std::isnan(ciede2000(lab(b), Lab<D50>{50, 1, 2})));
    }
    for (double v : batch_of<double>({50, 1, 2}, bad)) CHECK(std::isnan(v));
    for (float v : batch_of<float>({50, 1, 2}, bad)) CHECK(std::isnan(v));
}

TEST_CASE("A batch may have any length and writes no further") {
    std::mt19937 random(2);
    std::uniform_real_distribution<double> ab(-80, 80);
    for (std::size_t n = 0; n < 40; ++n) {
        std::vector<double> L(n, 50.0), a(n), b(n), out(n + 4, -1.0);
        for (std::size_t i = 0; i < n; ++i) a[i] = ab(random), b[i] = ab(random);
        ciede2000_batch(Vector3{40, 5, 5}, L, a, b, std::span<double>(out).first(n));
        for (std::size_t i = 0; i < n; ++i)
            CHECK(out[i] == Approx(ciede2000(Lab<D50>{40, 5, 5}, Lab<D50>{50, a[i], b[i]})).epsilon(1e-14));
        for (std::size_t i = n; i < n + 4; ++i) CHECK(out[i] == -1.0);
    }
}

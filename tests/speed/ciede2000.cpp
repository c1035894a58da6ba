// Times the CIEDE2000 functions on the same pairs, in one run, with the error of each beside its time.
#include <lcms2.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <random>
#include <string>
#include <vector>

#include "colour/difference.hpp"
#include "support/ciede2000_reference.hpp"

using namespace bindhue;

namespace {

constexpr std::size_t pairs = 1000, rounds = 10, repeats = 200;

template <class F>
double nanoseconds_a_pair(F run) {
    const auto start = std::chrono::steady_clock::now();
    for (std::size_t i = 0; i < rounds; ++i) run();
    const std::chrono::duration<double, std::nano> spent = std::chrono::steady_clock::now() - start;
    return spent.count() / (rounds * pairs);
}

}  // namespace

int main() {
    std::mt19937 random(1);
    // The same values in float and in double, so that the float batch is not charged with rounding its input.
    std::uniform_real_distribution<float> any_L(0, 100), any_ab(-100, 100);
    const Vector3 reference_lab{any_L(random), any_ab(random), any_ab(random)};
    std::vector<float> Lf(pairs), af(pairs), bf(pairs), float_out(pairs);
    for (std::size_t i = 0; i < pairs; ++i)
        Lf[i] = any_L(random), af[i] = any_ab(random), bf[i] = any_ab(random);
    const std::vector<double> L(Lf.begin(), Lf.end()), a(af.begin(), af.end()), b(bf.begin(), bf.end());
    std::vector<double> lcms_out(pairs), scalar_out(pairs), batch_out(pairs);
    const cmsCIELab lcms_reference{reference_lab[0], reference_lab[1], reference_lab[2]};

    const auto lcms = [&] {
        for (std::size_t i = 0; i < pairs; ++i) {
            const cmsCIELab sample{L[i], a[i], b[i]};
            lcms_out[i] = cmsCIE2000DeltaE(&lcms_reference, &sample, 1, 1, 1);
        }
    };
    const auto scalar = [&] {
        for (std::size_t i = 0; i < pairs; ++i)
            scalar_out[i] = ciede2000(Lab<D50>::from(reference_lab), Lab<D50>{L[i], a[i], b[i]});
    };
    const auto batch_in_double = [&] { ciede2000_batch(reference_lab, L, a, b, batch_out); };
    const auto batch_in_float = [&] { ciede2000_batch(reference_lab, Lf, af, bf, float_out); };

    // By turns and in short bursts, and the least of many: what the machine does besides can only add, and so
    // each gets its quiet moments.
    double lcms_time = 1e300, scalar_time = 1e300, batch_time = 1e300, float_time = 1e300;
    for (std::size_t repeat = 0; repeat < repeats; ++repeat) {
        lcms_time = std::min(lcms_time, nanoseconds_a_pair(lcms));
        scalar_time = std::min(scalar_time, nanoseconds_a_pair(scalar));
        batch_time = std::min(batch_time, nanoseconds_a_pair(batch_in_double));
        float_time = std::min(float_time, nanoseconds_a_pair(batch_in_float));
    }

    double lcms_error = 0, scalar_error = 0, batch_error = 0, float_error = 0;
    for (std::size_t i = 0; i < pairs; ++i) {
        const long double truth = reference::ciede2000(reference_lab, {L[i], a[i], b[i]});
        const auto raise = [&](double& worst, double value) {
            worst = std::max(worst, static_cast<double>(std::abs(value - truth)));
        };
        raise(lcms_error, lcms_out[i]);
        raise(scalar_error, scalar_out[i]);
        raise(batch_error, batch_out[i]);
        raise(float_error, static_cast<double>(float_out[i]));
    }

    std::printf("%-28s %10s %8s %12s\n", "one thread, 1000 pairs", "ns a pair", "times", "worst error");
    const auto row = [&](const char* what, double time, double error) {
        std::printf("%-28s %10.1f %8.1f %12.1e\n", what, time, lcms_time / time, error);
    };
    row("Little CMS", lcms_time, lcms_error);
    row("bindhue, one pair at a time", scalar_time, scalar_error);
    row("bindhue, batch in double", batch_time, batch_error);
    row("bindhue, batch in float", float_time, float_error);
}

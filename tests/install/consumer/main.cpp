#include <colour/adaptation.hpp>
#include <colour/difference.hpp>
#include <colour/smoothest.hpp>
#include <cstdio>

int main() {
    using namespace bindhue;
    const Lab<D50> wrap{38, 42, 20}, spool{40, 44, 19};
    const double difference = ciede2000(wrap, spool);
    const Result<Spectrum> reflectance = smoothest_reflectance(to_xyz(wrap));
    if (!reflectance) return 1;
    const double there_and_back = ciede2000(wrap, to_lab(reflectance_to_xyz_d50(*reflectance)));
    std::printf("%.3f\n", difference);
    return difference > 1 && difference < 4 && there_and_back < 1e-6 ? 0 : 1;
}

// Writes calibration/camera-light.json from a table of measured sensitivities.
//
//   make_prior SENSITIVITIES.json > calibration/camera-light.json
//
// The table: {"cameras": {NAME: {"R": [81 values, 380 to 780 nm by 5 nm], "G": [...], "B": [...]}}}. Method: tests/support/learn_prior.hpp.
#include <cstdio>

#include "../support/learn_prior.hpp"
#include "cameras_from.hpp"

namespace {

using namespace simulated;

constexpr int components = 6;

void print(const Spectrum& s) {
    std::printf("[");
    for (std::size_t i = 0; i < spectrum_size; ++i) std::printf("%s%.5g", i == 0 ? "" : ", ", s[i]);
    std::printf("]");
}

void print(const ChannelCurves& curves) {
    std::printf("[");
    for (std::size_t c = 0; c < 3; ++c) {
        std::printf(c == 0 ? "" : ",\n      ");
        print(curves[c]);
    }
    std::printf("]");
}

}  // namespace

int main(int argc, char** argv) {

    if (argc != 2) {
        std::fprintf(stderr, "make_prior SENSITIVITIES.json\n");
        return 2;
    }
    std::vector<ChannelCurves> cameras;
    for (const Camera& camera : cameras_from(argv[1])) cameras.push_back(camera.sensitivity);
    if (cameras.size() < 3) {
        std::fprintf(stderr, "%s: fewer than 3 cameras could be read\n", argv[1]);
        return 3;
    }
    const CameraLightPrior prior = learn::prior(cameras, learn::library(learn::daylight_components()), components);
    std::printf("{\n  \"format\": \"bindhue-camera-light\",\n  \"version\": 1,\n");
    std::printf("  \"source\": \"mean and principal components of %zu measured cameras, after rawtoaces-data of the Academy Software Foundation "
                "(Apache-2.0); lights: CIE 15 and CIE 018 tables, CIE daylights, black bodies, and white LEDs of our own invention\",\n",
                cameras.size());
    std::printf("  \"first_nm\": 380, \"step_nm\": 5,\n  \"reach_nm\": %g,\n  \"mean\": ", prior.reach_nm);
    print(prior.mean);
    std::printf(",\n  \"components\": [\n    ");
    for (std::size_t k = 0; k < prior.components.size(); ++k) {
        if (k > 0) std::printf(",\n    ");
        print(prior.components[k]);
    }
    std::printf("],\n  \"spread\": ");
    print(prior.spread);
    std::printf(",\n  \"lights\": [\n");
    for (std::size_t k = 0; k < prior.lights.size(); ++k) {
        const LibraryLight& light = prior.lights[k];
        std::printf("    {\"kind\": \"%s\", \"name\": \"%s\", \"power\": ", light.kind.c_str(), light.name.c_str());
        print(light.power);
        std::printf(k + 1 < prior.lights.size() ? "},\n" : "}\n");
    }
    std::printf("  ]\n}\n");
}

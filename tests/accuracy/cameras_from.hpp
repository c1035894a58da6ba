// Sensitivities of cameras from a file of the shape of samples/cameras.json, and reflectances from lines of 81 values.
#pragma once

#include <fstream>
#include <sstream>
#include <string>
#include <vector>

#include "../support/simulated_card.hpp"

namespace simulated {

// Just enough of a reader for one known shape: every run of 81 numbers in brackets, in order R, G, B.
inline std::vector<Camera> cameras_from(const char* path) {
    std::ifstream file(path);
    std::stringstream buffer;
    buffer << file.rdbuf();
    const std::string text = buffer.str();
    std::vector<Camera> cameras;
    std::size_t place = text.find("\"cameras\"");
    while (place != std::string::npos) {
        Camera camera;
        for (const char* channel : {"\"R\"", "\"G\"", "\"B\""}) {
            place = text.find(channel, place);
            if (place == std::string::npos) return cameras;
            place = text.find('[', place);
            std::istringstream numbers(text.substr(place + 1, text.find(']', place) - place - 1));
            const std::size_t c = channel[1] == 'R' ? 0 : channel[1] == 'G' ? 1 : 2;
            char comma = ',';
            for (std::size_t i = 0; i < spectrum_size && numbers >> camera.sensitivity[c][i]; ++i)
                numbers >> comma;
        }
        cameras.push_back(camera);
    }
    return cameras;
}

// Lines that are not of 81 values are left out.
inline std::vector<Spectrum> reflectances_from(const char* path) {
    std::ifstream file(path);
    std::vector<Spectrum> out;
    for (std::string line; std::getline(file, line);) {
        std::istringstream values(line);
        Spectrum s;
        std::size_t i = 0;
        while (i < spectrum_size && values >> s[i]) ++i;
        if (i == spectrum_size) out.push_back(s);
    }
    return out;
}

}  // namespace simulated

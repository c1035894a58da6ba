#include "shop/camera_light_file.hpp"

#include <cstdlib>

#include "shop/formats.hpp"

namespace bindhue::capture {

extern const char* const camera_light_json;  // made of calibration/camera-light.json when building

namespace {

Spectrum spectrum(const JsonCursor& values) {
    Spectrum out;
    const std::size_t n = values.size(spectrum_size, spectrum_size);
    for (std::size_t i = 0; i < n; ++i) out[i] = values[i].number(-1e6, 1e6);
    return out;
}

ChannelCurves curves(const JsonCursor& channels) {
    ChannelCurves out{};
    const std::size_t n = channels.size(3, 3);
    for (std::size_t c = 0; c < n; ++c) out[c] = spectrum(channels[c]);
    return out;
}

}  // namespace

Result<CameraLightPrior> read_camera_light(std::string_view text, const std::string& where) {
    Result<JsonDocument> document = read_format(text, where, camera_light_format);
    if (!document) return document.error();
    const JsonCursor root = document->root();
    root["first_nm"].number(spectrum_first_nm, spectrum_first_nm);
    root["step_nm"].number(spectrum_step_nm, spectrum_step_nm);
    CameraLightPrior prior;
    prior.reach_nm = root["reach_nm"].number(10, 200);
    prior.mean = curves(root["mean"]);
    const JsonCursor components = root["components"];
    for (std::size_t k = 0, n = components.size(0, 32); k < n; ++k) prior.components.push_back(curves(components[k]));
    prior.spread = curves(root["spread"]);
    const JsonCursor lights = root["lights"];
    for (std::size_t k = 0, n = lights.size(1, 200); k < n; ++k)
        prior.lights.push_back({lights[k]["kind"].text(), lights[k]["name"].text(), spectrum(lights[k]["power"])});
    if (document->error()) return *document->error();
    if (const Status status = validate(prior); !status) {
        Error error = status.error();
        error.where = where + ": " + error.where;
        return error;
    }
    return prior;
}

const CameraLightPrior& built_in_camera_light() {
    static const CameraLightPrior prior = [] {
        Result<CameraLightPrior> read = read_camera_light(camera_light_json, "the built-in prior");
        if (!read) std::abort();  // the program was built with a broken calibration/camera-light.json
        return std::move(*read);
    }();
    return prior;
}

}  // namespace bindhue::capture

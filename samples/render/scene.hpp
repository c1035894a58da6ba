// What a sample photograph shows, as written in samples/scenes/*.json. Lengths in millimetres on the card: x
// to the right, y down, z towards the viewer; the card's face is z = 0.
#pragma once

#include <array>
#include <cstdint>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "spectrum.hpp"
#include "thread.hpp"

namespace bindhue::render {

struct Vec {
    double x = 0, y = 0, z = 0;
};

enum class Kind { linear, phone };

struct Output {
    Kind kind = Kind::linear;
    int width = 1000, height = 700;
    std::string file = "tiff";  // tiff, png or jpg
    int bits = 12;              // of a linear file's 16: the rest is zero, as from a sensor
    int quality = 92;           // of a JPEG
    int orientation = 1;        // EXIF: 1, 3, 6 or 8
    double saturation = 1.12, contrast = 0.35, sharpening = 0.5;  // of a phone's picture
    double local_tone = 0;  // how far a phone evens out what is bright and dark on the large: 0 not at all, 1 wholly
};

struct Camera {
    std::string sensor;
    double distance_mm = 320, view_width_mm = 195;  // of the card's plane, across the picture
    std::array<double, 2> centre_mm{80, 55}, tilt_deg{0, 0};
    double roll_deg = 0;
    double distortion = 0;  // radial, relative, at the picture's corner
    double vignetting = 0.15;
    double defocus_px = 0.6;
    double exposure = 0.85;  // of the brightest paper, in its brightest channel; 1 clips
    double white_error = 0.03;
    double full_well = 12000, read_noise = 4;  // electrons
    double veil = 0.004, halo = 0.006;         // light lost to the whole picture, and to the surroundings
    double mask_mm = 0;                        // radius of a black mask round the lens
    bool upright = false;                      // the phone stands along y
};

struct Light {
    bool window = false;  // else a disc
    std::vector<std::pair<std::string, double>> spectrum;
    Vec position{-500, -400, 700};
    double width_mm = 120, height_mm = 120;  // a disc's diameter is its width
    std::array<int, 2> bars{0, 0};           // across, down
    double strength = 1;                     // share of the light at the card's middle
    double room = 0.2;                       // what the room sends back, relative to strength
};

struct Band {
    double start_mm = 0, length_mm = 0;
    std::string role = "wrap", spool;
    std::string ground =
        "blank";  // blank, white, the code of an underwrap's spool, or deep: many turns, as on a spool
    Schedule schedule = Schedule::finish;
    double pitch_mm = 0;  // 0: from the thread's size
    // Two-coloured thread: for a share of every so many millimetres of its length it is this spool's thread.
    std::string other_spool;
    double other_share = 0.5, repeat_mm = 3;
    // Preserver that did not soak in everywhere: patches of so much of the surface look as under the other schedule with finish. 0: none.
    double uneven_share = 0, patch_mm = 4;
    Fluorescence glow;
    double flash = 0;  // of metallic film: how far it mirrors the lamps by its facets instead of scattering their light, 0 to 1
};

// A guide: its feet lie under the thread, its frame and ring stand over the bare blank between them.
struct Guide {
    double at_mm = 60;                     // of the ring, along the rod
    double angle_deg = 180;                // round the rod; 0 is towards the viewer
    std::array<double, 2> feet_mm{14, 14};  // lengths to the left and right; 0: none
    double width_mm = 2.6, height_mm = 1.1;  // of a foot, and its height where the frame begins; it is ground to nothing at its tip
    double ring_mm = 9, stand_mm = 4;      // the ring's diameter, and how high its lowest point stands
};

// A stretch of the blank that is painted, as a test stick or a mark is: smooth and clear coated as a blank is.
struct Paint {
    double start_mm = 0, length_mm = 0;
    std::string ground = "white";
    bool finished = false;  // under the rod's finish, amber as that is
};

struct Rod {
    double diameter_left_mm = 9, diameter_right_mm = 8;
    double y_left_mm = 55, y_right_mm = 55;
    double rise_mm = 0;  // of the top line over the card's face
    std::string blank = "graphite";
    double gaps = 0.01;  // share of turns with a gap beside them
    double amber = 0;    // of the finish: absorption of one pass at 400 nm
    std::vector<Guide> guides;
    std::vector<Paint> paints;
};

struct Cover {
    std::array<double, 4> rect_mm{};
    std::string ground = "navy";
};

struct Scene {
    std::string title, expect = "read", refuse_reason;
    std::uint64_t seed = 1;
    Output output;
    Camera camera;
    std::vector<Light> lights;
    Rod rod;
    std::vector<Band> bands;
    std::vector<Cover> covers;  // things that lie on the card
    bool card = true;
    std::string bench = "wood";  // wood, cloth or slate
    double bench_depth_mm = 25;
};

// Throws std::runtime_error with the place of whatever is missing, of the wrong type or out of range.
Scene scene_from(const nlohmann::json& json);

}  // namespace bindhue::render

#include "scene.hpp"

#include <cmath>
#include <limits>
#include <stdexcept>

namespace bindhue::render {
namespace {

using nlohmann::json;

[[noreturn]] void fail(const std::string& where, const std::string& what) {
    throw std::runtime_error(where + ": " + what);
}

// Reads the members of one object and, at its end, complains of those that nobody asked for: a misspelt
// nuisance would otherwise be a nuisance that is not there.
class Object {
  public:
    Object(const json& value, std::string where) : json_(value), where_(std::move(where)) {
        if (!json_.is_object()) fail(where_, "must be an object");
    }

    const json* find(const char* key) {
        asked_.emplace_back(key);
        const auto it = json_.find(key);
        return it == json_.end() ? nullptr : &*it;
    }

    std::string at(const std::string& key) const { return where_ + "." + key; }

    static double checked(const json& v, double low, double high, const std::string& where) {
        if (!v.is_number()) fail(where, "must be a number");
        const double d = v.get<double>();
        if (!(d >= low && d <= high))
            fail(where, "must lie between " + std::to_string(low) + " and " + std::to_string(high));
        return d;
    }

    void number(const char* key, double& out, double low, double high) {
        if (const json* v = find(key)) out = checked(*v, low, high, at(key));
    }
    void integer(const char* key, int& out, int low, int high) {
        if (const json* v = find(key)) {
            const double d = checked(*v, low, high, at(key));
            if (d != std::floor(d)) fail(at(key), "must be a whole number");
            out = static_cast<int>(d);
        }
    }
    void text(const char* key, std::string& out) {
        if (const json* v = find(key)) {
            if (!v->is_string()) fail(at(key), "must be a text");
            out = v->get<std::string>();
        }
    }
    void one_of(const char* key, std::string& out, std::initializer_list<const char*> allowed) {
        text(key, out);
        std::string list;
        for (const char* a : allowed) {
            if (out == a) return;
            list += std::string(list.empty() ? "" : ", ") + a;
        }
        fail(at(key), "is \"" + out + "\": use one of " + list);
    }
    void flag(const char* key, bool& out) {
        if (const json* v = find(key)) {
            if (!v->is_boolean()) fail(at(key), "must be true or false");
            out = v->get<bool>();
        }
    }
    template <std::size_t N>
    void numbers(const char* key, std::array<double, N>& out, double low, double high) {
        if (const json* v = find(key)) {
            if (!v->is_array() || v->size() != N)
                fail(at(key), "must hold " + std::to_string(N) + " numbers");
            for (std::size_t i = 0; i < N; ++i)
                out[i] = checked((*v)[i], low, high, at(key) + "[" + std::to_string(i) + "]");
        }
    }
    template <class F>
    void each(const char* key, F&& read) {
        if (const json* v = find(key)) {
            if (!v->is_array()) fail(at(key), "must be a list");
            if (v->size() > 100) fail(at(key), "is longer than 100");
            for (std::size_t i = 0; i < v->size(); ++i) {
                Object element((*v)[i], at(key) + "[" + std::to_string(i) + "]");
                read(element);
                element.done();
            }
        }
    }
    template <class F>
    void object(const char* key, F&& read) {
        if (const json* v = find(key)) {
            Object inner(*v, at(key));
            read(inner);
            inner.done();
        }
    }
    void done() const {
        for (const auto& [key, value] : json_.items()) {
            bool known = false;
            for (const auto& a : asked_) known = known || a == key;
            if (!known) fail(where_, "has an unknown member \"" + key + "\"");
        }
    }

  private:
    const json& json_;
    std::string where_;
    std::vector<std::string> asked_;
};

Light light_from(Object& o) {
    Light light;
    std::string shape = "disc", spectrum = "D50";
    o.one_of("shape", shape, {"disc", "window"});
    light.window = shape == "window";
    if (const json* v = o.find("spectrum"); v && v->is_object()) {
        for (const auto& [key, value] : v->items()) {
            light_named(key);
            light.spectrum.emplace_back(key, Object::checked(value, 0, 1e3, o.at("spectrum." + key)));
        }
    } else {
        o.text("spectrum", spectrum);
        light_named(spectrum);
        light.spectrum.emplace_back(spectrum, 1.0);
    }
    std::array<double, 3> at{light.position.x, light.position.y, light.position.z};
    o.numbers("position_mm", at, -1e4, 1e4);
    if (at[2] < 10) fail(o.at("position_mm"), "must lie above the card (z of 10 or more)");
    light.position = {at[0], at[1], at[2]};
    o.number("width_mm", light.width_mm, 1, 5000);
    light.height_mm = light.width_mm;
    o.number("height_mm", light.height_mm, 1, 5000);
    std::array<double, 2> bars{0, 0};
    o.numbers("bars", bars, 0, 20);
    light.bars = {static_cast<int>(bars[0]), static_cast<int>(bars[1])};
    o.number("strength", light.strength, 0.001, 100);
    o.number("room", light.room, 0, 5);
    return light;
}

Band band_from(Object& o) {
    Band band;
    o.number("start_mm", band.start_mm, 0, 120);
    o.number("length_mm", band.length_mm, 0.1, 120);
    o.one_of("role", band.role, {"wrap", "trim"});
    o.text("spool", band.spool);
    spool_coded(band.spool);
    o.text("ground", band.ground);
    std::string schedule = "finish";
    o.text("schedule", schedule);
    band.schedule = schedule_named(schedule);
    o.number("pitch_mm", band.pitch_mm, 0.05, 1);
    o.object("twisted_with", [&](Object& t) {
        t.text("spool", band.other_spool);
        spool_coded(band.other_spool);
        t.number("share", band.other_share, 0.05, 0.95);
        t.number("repeat_mm", band.repeat_mm, 0.2, 1000);
    });
    o.object("uneven", [&](Object& t) {
        t.number("share", band.uneven_share, 0.05, 0.95);
        t.number("patch_mm", band.patch_mm, 0.5, 20);
    });
    o.object("fluorescent", [&](Object& f) {
        f.number("strength", band.glow.strength, 0.05, 2);
        f.number("excited_nm", band.glow.excited_nm, 400, 600);
        f.number("sent_nm", band.glow.sent_nm, 420, 680);
        if (band.glow.sent_nm < band.glow.excited_nm + 20) throw std::runtime_error("scene.bands: fluorescent thread sends light at least 20 nm longer than it takes in");
    });
    o.number("flash", band.flash, 0, 1);
    if (band.flash > 0 && (spool_coded(band.spool).material != Material::metallic || !band.other_spool.empty()))
        throw std::runtime_error("scene.bands: metallic thread of one colour flashes, no other");
    if (band.glow.strength > 0 && (spool_coded(band.spool).material == Material::metallic || !band.other_spool.empty() || band.uneven_share > 0))
        throw std::runtime_error("scene.bands: dyed thread of one colour, evenly coated, can be fluorescent, no other");
    if (band.uneven_share > 0 && (band.schedule == Schedule::none || !band.other_spool.empty()))
        throw std::runtime_error("scene.bands: thread of one colour under finish can be uneven, no other");
    return band;
}

Guide guide_from(Object& o) {
    Guide guide;
    o.number("at_mm", guide.at_mm, -50, 170);
    o.number("angle_deg", guide.angle_deg, -180, 180);
    o.numbers("feet_mm", guide.feet_mm, 0, 40);
    o.number("width_mm", guide.width_mm, 0.5, 6);
    o.number("height_mm", guide.height_mm, 0.2, 3);
    o.number("ring_mm", guide.ring_mm, 2, 40);
    o.number("stand_mm", guide.stand_mm, 0.5, 40);
    return guide;
}

}  // namespace

Scene scene_from(const json& document) {
    Scene s;
    Object o(document, "scene");
    std::string format;
    o.text("format", format);
    int version = 1;
    o.integer("version", version, 1, 1);
    if (format != "bindhue-scene") fail("scene.format", "must be \"bindhue-scene\"");
    o.text("title", s.title);
    o.one_of("expect", s.expect, {"read", "refuse"});
    o.text("refuse_reason", s.refuse_reason);
    int seed = 1;
    o.integer("seed", seed, 0, std::numeric_limits<int>::max());
    s.seed = static_cast<std::uint64_t>(seed);
    o.object("output", [&](Object& out) {
        std::string kind = "linear";
        out.one_of("kind", kind, {"linear", "phone"});
        s.output.kind = kind == "phone" ? Kind::phone : Kind::linear;
        s.output.file = kind == "phone" ? "jpg" : "tiff";
        out.one_of("file", s.output.file, {"tiff", "png", "jpg"});
        if (s.output.kind == Kind::linear && s.output.file == "jpg")
            fail(out.at("file"), "a linear picture needs 16 bits: use tiff or png");
        out.integer("width", s.output.width, 64, 12000);
        out.integer("height", s.output.height, 64, 12000);
        out.integer("bits", s.output.bits, 8, 16);
        out.integer("quality", s.output.quality, 10, 100);
        out.integer("orientation", s.output.orientation, 1, 8);
        if (const int e = s.output.orientation; e != 1 && e != 3 && e != 6 && e != 8)
            fail(out.at("orientation"), "must be 1, 3, 6 or 8");
        if (s.output.orientation != 1 && s.output.file != "jpg")
            fail(out.at("orientation"), "is written into a JPEG only");
        out.number("saturation", s.output.saturation, 0, 3);
        out.number("contrast", s.output.contrast, 0, 1);
        out.number("sharpening", s.output.sharpening, 0, 3);
        out.number("local_tone", s.output.local_tone, 0, 1);
    });
    o.object("camera", [&](Object& c) {
        c.text("sensor", s.camera.sensor);
        c.number("distance_mm", s.camera.distance_mm, 100, 3000);
        c.number("view_width_mm", s.camera.view_width_mm, 10, 2000);
        c.numbers("centre_mm", s.camera.centre_mm, -500, 500);
        c.numbers("tilt_deg", s.camera.tilt_deg, -60, 60);
        c.number("roll_deg", s.camera.roll_deg, -180, 180);
        c.number("distortion", s.camera.distortion, -0.2, 0.2);
        c.number("vignetting", s.camera.vignetting, 0, 0.9);
        c.number("defocus_px", s.camera.defocus_px, 0, 20);
        c.number("exposure", s.camera.exposure, 0.01, 20);
        c.number("white_error", s.camera.white_error, 0, 0.5);
        c.number("full_well", s.camera.full_well, 100, 1e6);
        c.number("read_noise", s.camera.read_noise, 0, 100);
        c.number("veil", s.camera.veil, 0, 0.5);
        c.number("halo", s.camera.halo, 0, 0.5);
        c.number("mask_mm", s.camera.mask_mm, 0, 200);
        c.flag("upright", s.camera.upright);
    });
    o.each("lights", [&](Object& l) { s.lights.push_back(light_from(l)); });
    if (s.lights.empty() || s.lights.size() > 3) fail("scene.lights", "must hold one to three lights");
    o.object("rod", [&](Object& r) {
        std::array<double, 2> diameter{9, 8}, y{55, 55};
        r.numbers("diameter_mm", diameter, 0.5, 30);
        r.numbers("y_mm", y, 38, 72);
        s.rod.diameter_left_mm = diameter[0], s.rod.diameter_right_mm = diameter[1];
        s.rod.y_left_mm = y[0], s.rod.y_right_mm = y[1];
        r.number("rise_mm", s.rod.rise_mm, -10, 3);
        r.text("blank", s.rod.blank);
        ground_named(s.rod.blank);
        r.number("gaps", s.rod.gaps, 0, 0.5);
        r.number("amber", s.rod.amber, 0, 2);
        r.each("guides", [&](Object& g) { s.rod.guides.push_back(guide_from(g)); });
        r.each("paints", [&](Object& p) {
            Paint paint;
            p.number("start_mm", paint.start_mm, -100, 220);
            p.number("length_mm", paint.length_mm, 0.1, 320);
            p.text("ground", paint.ground);
            ground_named(paint.ground);
            p.flag("finished", paint.finished);
            const double previous = s.rod.paints.empty() ? -1e9 : s.rod.paints.back().start_mm + s.rod.paints.back().length_mm;
            if (paint.start_mm < previous - 1e-9) fail(p.at("start_mm"), "lies inside the paint before it");
            s.rod.paints.push_back(paint);
        });
    });
    o.each("bands", [&](Object& b) {
        Band band = band_from(b);
        if (band.ground != "blank" && band.ground != "white" && band.ground != "deep")
            spool_coded(band.ground);
        if (band.ground == "deep" && band.schedule != Schedule::none)
            fail(b.at("ground"), "\"deep\" is thread as on its spool: its schedule must be none");
        const double previous = s.bands.empty() ? 0 : s.bands.back().start_mm + s.bands.back().length_mm;
        if (band.start_mm < previous - 1e-9) fail(b.at("start_mm"), "lies inside the band before it");
        if (band.start_mm + band.length_mm > 120 + 1e-9)
            fail(b.at("length_mm"), "runs past the opening's end");
        if (band.pitch_mm == 0) band.pitch_mm = spool_coded(band.spool).size_mm;
        s.bands.push_back(band);
    });
    o.each("covers", [&](Object& c) {
        Cover cover;
        c.numbers("rect_mm", cover.rect_mm, -500, 500);
        c.text("colour", cover.ground);
        ground_named(cover.ground);
        s.covers.push_back(cover);
    });
    o.flag("card", s.card);
    o.one_of("bench", s.bench, {"wood", "cloth", "slate"});
    o.number("bench_depth_mm", s.bench_depth_mm, 1, 300);
    if (s.bench_depth_mm <= std::max(s.rod.diameter_left_mm, s.rod.diameter_right_mm) - s.rod.rise_mm)
        fail("scene.bench_depth_mm", "must be deeper than the rod is thick");
    o.done();
    return s;
}

}  // namespace bindhue::render

#include "trace.hpp"

#include <algorithm>
#include <atomic>
#include <cmath>
#include <numbers>
#include <stdexcept>
#include <thread>

#include "fibres.hpp"

namespace bindhue::render {
namespace {

constexpr double pi = std::numbers::pi;

Vec operator+(Vec a, Vec b) { return {a.x + b.x, a.y + b.y, a.z + b.z}; }
Vec operator-(Vec a, Vec b) { return {a.x - b.x, a.y - b.y, a.z - b.z}; }
Vec operator*(double k, Vec a) { return {k * a.x, k * a.y, k * a.z}; }
double dot(Vec a, Vec b) { return a.x * b.x + a.y * b.y + a.z * b.z; }
Vec unit(Vec a) { return 1.0 / std::sqrt(dot(a, a)) * a; }
Vec cross(Vec a, Vec b) { return {a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x}; }

// Hashes and smooth noise, so that every texture is the same on every machine and in every thread.
std::uint32_t hash(std::uint32_t a, std::uint32_t b, std::uint32_t c) {
    std::uint32_t h = a * 0x9E3779B1u ^ b * 0x85EBCA77u ^ c * 0xC2B2AE3Du;
    h ^= h >> 15;
    h *= 0x2C1B3C6Du;
    h ^= h >> 12;
    h *= 0x297A2D39u;
    return h ^ h >> 15;
}
double uniform(std::uint32_t a, std::uint32_t b, std::uint32_t c) {
    return (hash(a, b, c) >> 8) * (1.0 / 16777216.0);
}
std::uint32_t cell(double v) { return static_cast<std::uint32_t>(static_cast<std::int64_t>(std::floor(v))); }
// -1..1, mean 0.
double smooth_noise(double x, double y, std::uint32_t salt) {
    const double fx = x - std::floor(x), fy = y - std::floor(y);
    const double sx = fx * fx * (3 - 2 * fx), sy = fy * fy * (3 - 2 * fy);
    const std::uint32_t i = cell(x), j = cell(y);
    const double a = uniform(i, j, salt), b = uniform(i + 1, j, salt), c = uniform(i, j + 1, salt),
                 d = uniform(i + 1, j + 1, salt);
    return 2 * ((a * (1 - sx) + b * sx) * (1 - sy) + (c * (1 - sx) + d * sx) * sy) - 1;
}

// Light is kept as amounts of a few spectra, never as RGB: each lamp's own, and each lamp's after one
// reflection from the walls, the paper or the bench. Only a sum over amounts times (spectrum x surface x
// sensor) makes a colour, so a colour is exact.
enum Way { direct, by_wall, by_paper, by_bench, way_count };
constexpr std::size_t max_channels = 3 * way_count;
using Amounts = std::array<float, max_channels>;
using Rgb = std::array<double, 3>;

void add(Amounts& to, const Amounts& what, double k) {
    for (std::size_t i = 0; i < max_channels; ++i) to[i] += static_cast<float>(k) * what[i];
}

struct LightMap {
    int columns = 0, rows = 0;
    double x0 = 0, y0 = 0, dx = 1, dy = 1;
    std::vector<Amounts> texel;

    void size(double x_from, double x_to, int x_count, double y_from, double y_to, int y_count) {
        columns = x_count, rows = y_count, x0 = x_from, y0 = y_from;
        dx = (x_to - x_from) / (x_count - 1), dy = (y_to - y_from) / (y_count - 1);
        texel.assign(static_cast<std::size_t>(x_count) * static_cast<std::size_t>(y_count), {});
    }
    Amounts& at(int i, int j) {
        return texel[static_cast<std::size_t>(j) * static_cast<std::size_t>(columns) +
                     static_cast<std::size_t>(i)];
    }
    Amounts look_up(double x, double y) const {
        const double u = std::clamp((x - x0) / dx, 0.0, columns - 1.001);
        const double v = std::clamp((y - y0) / dy, 0.0, rows - 1.001);
        const int i = static_cast<int>(u), j = static_cast<int>(v);
        const float fu = static_cast<float>(u - i), fv = static_cast<float>(v - j);
        const auto* p = &texel[static_cast<std::size_t>(j) * static_cast<std::size_t>(columns) +
                               static_cast<std::size_t>(i)];
        const auto* q = p + columns;
        Amounts out;
        for (std::size_t k = 0; k < max_channels; ++k)
            out[k] =
                (p[0][k] * (1 - fu) + p[1][k] * fu) * (1 - fv) + (q[0][k] * (1 - fu) + q[1][k] * fu) * fv;
        return out;
    }
};

template <class F>
void in_parallel(int count, F&& work) {
    std::atomic<int> next{0};
    const unsigned threads = std::max(1u, std::thread::hardware_concurrency());
    std::vector<std::thread> pool;
    for (unsigned t = 0; t < threads; ++t)
        pool.emplace_back([&] {
            for (int i; (i = next.fetch_add(1)) < count;) work(i);
        });
    for (auto& t : pool) t.join();
}

double area(const Light& l) { return l.width_mm * l.height_mm * (l.window ? 1.0 : pi / 4); }

// Where a lamp's face points, at the card's middle, and its own two sides.
struct LampFace {
    Vec axis, side, up;
    explicit LampFace(const Light& l) : axis(unit(Vec{80, 55, 0} - l.position)), side(unit(Vec{-axis.y, axis.x, 0} + Vec{1e-9, 0, 0})), up(cross(side, axis)) {}
    // On a lamp, from its middle, in shares of its width and height.
    Vec at(const Light& l, double a, double b) const { return l.position + a * l.width_mm * side + b * l.height_mm * up; }
};

// Metallic film lies in facets, each tilted its own way: by how much more light of one lamp it sends on than a matt surface of its colour would, in the mean over
// them. slope: tangent of the angle from the skin's normal to halfway between lamp and eye, beneath the coat where there is one.
constexpr double facet_slope = 0.2, facet_gloss = 0.17;  // of the facets' tilts, standard deviation; of one facet's own lobe
constexpr double lobe_squared = facet_gloss * facet_gloss + 2 * facet_slope * facet_slope;
double film_gain(double flash, double lobe) { return 1 - 0.6 * flash + 1.4 * flash * lobe; }
double mean_film_gain(double flash, double slope) { return film_gain(flash, std::exp(-slope * slope / lobe_squared)); }
// Lit at 45 degrees and seen from above.
double film_gain_45(double flash, bool coated) {
    const double lit = coated ? std::asin(std::sqrt(0.5) / finish_index) : pi / 4;
    return mean_film_gain(flash, std::tan(lit / 2));
}
// Halfway between two directions away from a surface, beneath its coat.
Vec halfway(Vec normal, Vec one, Vec other, bool coated) {
    const auto inside = [&](Vec v) {
        const Vec flat = (coated ? 1 / finish_index : 1.0) * (v - dot(v, normal) * normal);
        return flat + std::sqrt(std::max(0.0, 1 - dot(flat, flat))) * normal;
    };
    return unit(inside(one) + inside(other));
}
double slope_between(Vec a, Vec b) {
    const double c = std::max(0.05, dot(a, b));
    return std::sqrt(std::max(0.0, 1 / (c * c) - 1));
}

struct Stretch {  // of the rod: one band, or the blank between
    double from, to;
    Band band;
    std::size_t body, gap;  // surfaces
    Spectrum colour;        // truth
    Spectrum as_new;        // the same under a clear finish
    bool coated, metallic;
    std::size_t other = 0;          // of a two-coloured thread
    Spectrum one_colour{}, other_colour{};  // truth of each
    Spectrum without_glow{};                // of a fluorescent one, truth as far as it reflects
    double patch_level = 2;                 // of the noise, above which an uneven wrap is a patch
    std::size_t on_foot = 0, in_tunnel = 0;  // the same thread over a guide's foot, and beside it
};

class World {
  public:
    World(const Scene& scene, const CardPrint& card, const Sensor& sensor);
    Traced photograph();

  private:
    enum Surface : std::size_t { mirror, bench_light, bench_dark, phone, steel, cover_first };

    struct Hit {
        double t = 1e30;
        enum { nothing, card_face, card_back, cover, rod, bench, guide } what = nothing;
        std::size_t cover_index = 0;
        double u = 0, angle = 0;  // on the rod
        Vec normal{};             // of a guide's wire
    };
    // A guide's frame and ring: rods with round ends.
    struct Wire {
        Vec from, to;
        double radius;
    };
    // How a foot lifts the thread over it: height, its slope along the rod and round it.
    struct Lift {
        double height = 0, along = 0, around = 0;
        bool on_foot = false, in_tunnel = false;
    };

    Scene scene_;
    const CardPrint& card_;
    std::vector<Spectrum> surfaces_;
    std::size_t first_print_ = 0;
    std::size_t channels_ = 0;
    std::vector<std::array<Rgb, max_channels>> response_;  // by surface
    std::vector<std::pair<std::size_t, Fluorescence>> glowing_;  // surfaces
    std::vector<Stretch> stretches_;
    std::vector<double> light_radiance_;  // pi L of each lamp
    std::array<double, 3> paper_{};

    // The rod's own frame: u along it from the opening's left edge, v across, w up.
    Vec along_{}, across_{}, start_{};
    double radius0_ = 0, slope_ = 0;
    // The camera.
    Vec eye_{}, forward_{}, right_{}, down_{};
    double focal_ = 0, bend_ = 0;
    Vec phone_middle_{};
    std::vector<Wire> wires_;
    Vec wires_middle_{};
    double wires_reach_ = 0;  // of all of them, from their middle
    double phone_half_right_ = 80, phone_half_down_ = 40;

    LightMap on_card_, on_bench_, on_rod_bare_, on_rod_coated_;
    Amounts under_card_{};

    void place_camera();
    void place_rod();
    void place_guides();
    Lift lift(double u, double angle) const;
    bool meets_guide(Vec from, Vec d, double far, double& t, Vec& normal) const;
    void make_surfaces(const Sensor& sensor);
    void make_light();

    double radius(double u) const { return radius0_ + slope_ * u; }
    // Smooth noise on the rod's skin, -1 to 1.
    double patches(double u, double angle, double r, double size_mm) const {
        return smooth_noise(u / size_mm, angle * r / size_mm + 100, static_cast<std::uint32_t>(scene_.seed) + 13);
    }
    bool card_there(double x, double y) const { return scene_.card && card_.on_face(x, y); }
    Vec rod_point(double u, double angle) const {
        const double r = radius(u);
        return start_ + u * along_ + r * std::sin(angle) * across_ +
               Vec{0, 0, scene_.rod.rise_mm - r + r * std::cos(angle)};
    }
    Vec rod_normal(double u, double angle) const {
        const double r = radius(u), w = r * std::cos(angle) - r;
        return unit(w * slope_ * along_ + r * std::sin(angle) * across_ + Vec{0, 0, r * std::cos(angle)});
    }
    bool meets_rod(Vec from, Vec d, double& t, double& u, double& angle) const;
    bool meets_phone(Vec from, Vec d, double far) const;
    Hit first_hit(Vec from, Vec d) const;
    bool blocked(Vec from, Vec to, bool on_rod) const;
    Amounts arriving(Vec at, Vec normal, bool coated, bool on_rod, int samples, int rays) const;
    double room(Vec d) const;
    Rgb colour(const Amounts& light, std::size_t surface) const;
    Rgb seen(Vec from, Vec d, std::uint32_t noise, int depth) const;
    Rgb seen_rod(const Hit& hit, Vec d, std::uint32_t noise) const;
    void add_flash(Amounts& light, const Hit& hit, Vec d, double flash, bool coated, std::uint32_t noise) const;
    double film_gain_seen(const Stretch& s, double turned) const;
    Vec ray(double x, double y) const;
    std::array<double, 2> project(Vec p) const;
    nlohmann::json truth() const;
};

World::World(const Scene& scene, const CardPrint& card, const Sensor& sensor) : scene_(scene), card_(card) {
    channels_ = scene_.lights.size() * way_count;
    place_camera();
    place_rod();
    place_guides();
    make_surfaces(sensor);
    make_light();
}

void World::place_camera() {
    const Camera& c = scene_.camera;
    const double tx = c.tilt_deg[0] * pi / 180, ty = c.tilt_deg[1] * pi / 180, roll = c.roll_deg * pi / 180;
    const Vec back = unit({std::tan(tx), std::tan(ty), 1});
    const Vec centre{c.centre_mm[0], c.centre_mm[1], 0};
    eye_ = centre + c.distance_mm * back;
    forward_ = -1.0 * back;
    Vec r{std::cos(roll), std::sin(roll), 0}, d{-std::sin(roll), std::cos(roll), 0};
    right_ = unit(r - dot(r, forward_) * forward_);
    d = d - dot(d, forward_) * forward_;
    down_ = unit(d - dot(d, right_) * right_);
    focal_ = scene_.output.width * c.distance_mm / c.view_width_mm;
    const double half_w = 0.5 * scene_.output.width / focal_, half_h = 0.5 * scene_.output.height / focal_;
    bend_ = c.distortion / (half_w * half_w + half_h * half_h);
    // The lens sits near one end of the phone.
    phone_half_right_ = c.upright ? 40 : 80, phone_half_down_ = c.upright ? 80 : 40;
    phone_middle_ = eye_ + (c.upright ? 10.0 : 62.0) * right_ + (c.upright ? 62.0 : 10.0) * down_;
}

Vec World::ray(double x, double y) const {
    const double a = (x - 0.5 * scene_.output.width) / focal_, b = (y - 0.5 * scene_.output.height) / focal_;
    const double s = 1 + bend_ * (a * a + b * b);
    return unit(forward_ + a * s * right_ + b * s * down_);
}

std::array<double, 2> World::project(Vec p) const {
    const Vec d = p - eye_;
    const double depth = dot(d, forward_);
    const double a = dot(d, right_) / depth, b = dot(d, down_) / depth;
    double s = 1;
    for (int i = 0; i < 30; ++i) s = 1 + bend_ * (a * a + b * b) / (s * s);
    return {0.5 * scene_.output.width + focal_ * a / s, 0.5 * scene_.output.height + focal_ * b / s};
}

void World::place_rod() {
    const double x0 = card_.opening_mm[0], length = card_.opening_mm[2];
    const Rod& r = scene_.rod;
    start_ = {x0, r.y_left_mm, 0};
    along_ = unit({length, r.y_right_mm - r.y_left_mm, 0});
    across_ = {-along_.y, along_.x, 0};
    radius0_ = 0.5 * r.diameter_left_mm;
    slope_ = 0.5 * (r.diameter_right_mm - r.diameter_left_mm) / length;
}

constexpr double frame_reach_mm = 3;  // from a guide's ring to where its feet begin, along the rod

void World::place_guides() {
    for (const Guide& g : scene_.rod.guides) {
        const double angle = g.angle_deg * pi / 180;
        const auto over = [&](double u, double height, double aside) {
            const Vec out = std::sin(angle) * across_ + Vec{0, 0, std::cos(angle)};
            const Vec round = std::cos(angle) * across_ - Vec{0, 0, std::sin(angle)};
            return rod_point(u, angle) + height * out + aside * round;
        };
        const double wire = 0.28 * g.width_mm, middle = g.stand_mm + g.ring_mm / 2;
        for (const double side : {-1.0, 1.0})
            if (g.feet_mm[side < 0 ? 0 : 1] > 0)
                for (const double aside : {-1.0, 1.0})
                    wires_.push_back({over(g.at_mm + side * frame_reach_mm, g.height_mm - wire, 0),
                                      over(g.at_mm, middle, 0.5 * aside * g.ring_mm), wire});
        constexpr int parts = 20;
        for (int i = 0; i < parts; ++i) {
            const auto at = [&](int k) {
                const double turn = 2 * pi * k / parts;
                return over(g.at_mm, middle + 0.5 * g.ring_mm * std::cos(turn), 0.5 * g.ring_mm * std::sin(turn));
            };
            wires_.push_back({at(i), at(i + 1), 1.3 * wire});
        }
    }
    if (wires_.empty()) return;
    for (const Wire& w : wires_) wires_middle_ = wires_middle_ + 1.0 / static_cast<double>(wires_.size()) * w.from;
    for (const Wire& w : wires_)
        for (const Vec& end : {w.from, w.to}) {
            const Vec off = end - wires_middle_;
            wires_reach_ = std::max(wires_reach_, std::sqrt(dot(off, off)) + w.radius);
        }
}

// Bump only: the outline of the rod does not know of it. Thread bridges the corner beside the foot, over a tunnel.
World::Lift World::lift(double u, double angle) const {
    Lift out;
    for (const Guide& g : scene_.rod.guides)
        for (const double side : {-1.0, 1.0}) {
            const double length = g.feet_mm[side < 0 ? 0 : 1], inner = g.at_mm + side * frame_reach_mm,
                         left = length - side * (u - inner);  // to the tip
            if (left <= 0 || left > length) continue;
            const double height = std::max(0.05, g.height_mm * left / length), tunnel = 1.2 * height;
            double turned = std::remainder(angle - g.angle_deg * pi / 180, 2 * pi);
            const double aside = std::abs(turned) * radius(u), edge = g.width_mm / 2;
            if (aside >= edge + tunnel) continue;
            out.along = -side * g.height_mm / length;
            out.height = height;
            if (aside < edge) {
                out.on_foot = true;
                // Its top is rounded a little.
                out.around = -0.5 * turned * radius(u) / edge * 0.3;
            } else {
                out.in_tunnel = true;
                const double down = (aside - edge) / tunnel;
                out.height = height * (1 - down);
                out.along *= 1 - down;
                out.around = (turned > 0 ? -1 : 1) * height / tunnel;
            }
        }
    return out;
}

bool World::meets_guide(Vec from, Vec d, double far, double& t_out, Vec& normal_out) const {
    if (wires_.empty()) return false;
    const double length2 = dot(d, d);
    {
        const Vec o = from - wires_middle_;
        const double b = dot(o, d), c = dot(o, o) - wires_reach_ * wires_reach_;
        if (b * b - length2 * c < 0) return false;
    }
    bool met = false;
    for (const Wire& w : wires_) {
        const Vec ba = w.to - w.from, oa = from - w.from;
        const double baba = dot(ba, ba), bard = dot(ba, d), baoa = dot(ba, oa), rdoa = dot(d, oa), oaoa = dot(oa, oa);
        const double a = baba * length2 - bard * bard, b = baba * rdoa - baoa * bard,
                     c = baba * oaoa - baoa * baoa - w.radius * w.radius * baba, h = b * b - a * c;
        if (h < 0) continue;
        double t = a > 1e-12 ? (-b - std::sqrt(h)) / a : -1;
        const double y = baoa + t * bard;
        if (!(y > 0 && y < baba && t > 1e-6)) {  // a round end
            const Vec oc = y <= 0 ? oa : from - w.to;
            const double bb = dot(d, oc), cc = dot(oc, oc) - w.radius * w.radius, hh = bb * bb - length2 * cc;
            if (hh < 0) continue;
            t = (-bb - std::sqrt(hh)) / length2;
        }
        if (t < 1e-6 || t >= far) continue;
        const Vec p = from + t * d;
        const double along = std::clamp(dot(p - w.from, ba) / baba, 0.0, 1.0);
        far = t_out = t, normal_out = unit(p - (w.from + along * ba)), met = true;
    }
    return met;
}

void World::make_surfaces(const Sensor& sensor) {
    const Spectrum blank = ground_named(scene_.rod.blank);
    const Spectrum amber = bump(380, 70, scene_.rod.amber);

    surfaces_.assign(cover_first, constant(1));
    if (scene_.bench == "wood") {
        surfaces_[bench_light] = step(560, 150, 0.16, 0.44);
        surfaces_[bench_dark] = step(580, 150, 0.10, 0.32);
    } else if (scene_.bench == "cloth") {
        surfaces_[bench_light] = constant(0.10) + bump(540, 70, 0.05);
        surfaces_[bench_dark] = constant(0.07) + bump(540, 70, 0.035);
    } else {
        surfaces_[bench_light] = constant(0.20) + bump(470, 90, 0.015);
        surfaces_[bench_dark] = constant(0.16) + bump(470, 90, 0.012);
    }
    surfaces_[phone] = constant(0.02);
    surfaces_[steel] = constant(0.16) + bump(620, 150, 0.02);
    for (const Cover& c : scene_.covers) surfaces_.push_back(ground_named(c.ground));
    first_print_ = surfaces_.size();
    surfaces_.insert(surfaces_.end(), card_.prints.begin(), card_.prints.end());

    const auto add_surface = [&](const Spectrum& s) {
        surfaces_.push_back(s);
        return surfaces_.size() - 1;
    };
    const std::size_t blank_surface = add_surface(blank);
    const auto add_bare = [&](double from, double to, std::size_t surface, const Spectrum& colour) {
        Band b;
        b.role = "blank";
        b.start_mm = from, b.length_mm = to - from, b.pitch_mm = 0;
        stretches_.push_back({from, to, b, surface, surface, colour, colour, true, false});
    };
    const auto add_blank = [&](double from, double to) {
        for (const Paint& p : scene_.rod.paints) {
            const double start = std::max(from, p.start_mm), end = std::min(to, p.start_mm + p.length_mm);
            if (end - start < 1e-9) continue;
            if (start > from + 1e-9) add_bare(from, start, blank_surface, blank);
            Spectrum colour = ground_named(p.ground);
            if (p.finished) {
                Spectrum beneath;
                for (std::size_t i = 0; i < band_count; ++i) beneath[i] = beneath_surface(colour[i]);
                colour = coated_mark(beneath, amber);
            }
            add_bare(start, end, add_surface(colour), colour);
            from = end;
        }
        if (to > from + 1e-9) add_bare(from, to, blank_surface, blank);
    };
    double reached = -1000;
    for (const Band& band : scene_.bands) {
        if (band.start_mm > reached + 1e-9) add_blank(reached, band.start_mm);
        const Spool& spool = spool_coded(band.spool);
        Spectrum ground = blank;
        for (const Paint& p : scene_.rod.paints)
            if (const double middle = band.start_mm + band.length_mm / 2; middle > p.start_mm && middle < p.start_mm + p.length_mm) ground = ground_named(p.ground);
        const Spectrum bare = ground;
        if (band.ground == "white") {
            ground = ground_named("white");
        } else if (band.ground == "deep") {
            ground = dry_opaque(spool, dyed(spool));
        } else if (band.ground != "blank") {
            const Spool& under = spool_coded(band.ground);
            ground = wrapped(under, dyed(under), band.schedule, bare, constant(0));
        }
        const auto under_film = [&](const Spool& thread, const Spectrum& under, const Spectrum& film, Schedule schedule) {
            return band.ground == "deep" ? dry_opaque(thread, dyed(thread)) : wrapped(thread, dyed(thread), schedule, under, film);
        };
        const auto over = [&](const Spool& thread, const Spectrum& under) { return under_film(thread, under, amber, band.schedule); };
        const Spectrum one = over(spool, ground);
        const bool two_coloured = !band.other_spool.empty();
        const bool uneven = band.uneven_share > 0;
        const Schedule elsewhere = !uneven ? band.schedule : band.schedule == Schedule::finish ? Schedule::preserver_finish : Schedule::finish;
        const Spool& other_spool = two_coloured ? spool_coded(band.other_spool) : spool;
        const Spectrum other = two_coloured || uneven ? under_film(other_spool, ground, amber, elsewhere) : one;
        const double share = two_coloured ? band.other_share : band.uneven_share, flash = film_gain_45(band.flash, band.schedule != Schedule::none);
        const auto mixed = [&](const Spectrum& a, const Spectrum& b) { return flash * ((1 - share) * a + share * b); };
        const Spectrum body = mixed(one, other), clear_one = under_film(spool, ground, constant(0), band.schedule),
                       clear = mixed(clear_one, two_coloured || uneven ? under_film(other_spool, ground, constant(0), elsewhere) : clear_one);
        const double end = band.start_mm + band.length_mm;
        // A gap is a fifth of the pitch wide.
        const double open = 0.2 * scene_.rod.gaps;
        Stretch s{band.start_mm,
                  end,
                  band,
                  add_surface(one),
                  add_surface(ground),
                  (1 - open) * body + open * ground,
                  (1 - open) * clear + open * ground,
                  band.schedule != Schedule::none,
                  spool.material == Material::metallic};
        s.other = two_coloured || uneven ? add_surface(other) : s.body;
        if (band.glow.strength > 0) {
            glowing_.emplace_back(s.body, band.glow);
            const Spectrum day = light_named("D50");
            const auto add_glow = [&](Spectrum& truth, const Spectrum& reflectance) {
                const Spectrum more = sent(band.glow, reflectance, day);
                for (std::size_t b = 0; b < band_count; ++b) truth[b] += (1 - open) * more[b] / day[b];
            };
            s.without_glow = s.colour;
            add_glow(s.colour, one);
            add_glow(s.as_new, clear_one);
        }
        if (uneven) {
            // Where the camera may look; the truth is the mean over it.
            std::vector<double> levels;
            const double r = radius((band.start_mm + end) / 2);
            for (double u = band.start_mm; u < end; u += 0.1)
                for (double angle = -0.6; angle <= 0.6; angle += 0.05) levels.push_back(patches(u, angle, r, band.patch_mm));
            const auto level = levels.begin() + static_cast<std::ptrdiff_t>((1 - band.uneven_share) * static_cast<double>(levels.size() - 1));
            std::nth_element(levels.begin(), level, levels.end());
            s.patch_level = *level;
        }
        s.one_colour = one, s.other_colour = other;
        s.on_foot = add_surface(over(spool, surfaces_[steel]));
        // Finish and air fill the tunnel; little comes back out of it.
        s.in_tunnel = add_surface(over(spool, constant(0.02)));
        stretches_.push_back(s);
        reached = end;
    }
    add_blank(reached, 1000);

    response_.assign(surfaces_.size(), {});
    const Spectrum wall = step(430, 60, 0.62, 0.78);
    for (std::size_t l = 0; l < scene_.lights.size(); ++l) {
        Spectrum lamp{};
        double total = 0;
        for (const auto& [name, amount] : scene_.lights[l].spectrum) {
            lamp = lamp + amount * light_named(name);
            total += amount;
        }
        if (total <= 0) throw std::runtime_error("scene.lights: a mixture must not be empty");
        lamp = 1 / total * lamp;
        for (std::size_t way = 0; way < way_count; ++way) {
            const Spectrum arriving = way == by_wall    ? 1 / 0.77 * (lamp * wall)
                                      : way == by_paper ? lamp * card_.prints[0]
                                      : way == by_bench ? lamp * surfaces_[bench_light]
                                                        : lamp;
            for (std::size_t s = 0; s < surfaces_.size(); ++s)
                for (std::size_t b = 0; b < band_count; ++b)
                    for (std::size_t c = 0; c < 3; ++c)
                        response_[s][l * way_count + way][c] +=
                            arriving[b] * surfaces_[s][b] * sensor.rgb[c][b];
            for (const auto& [s, dye] : glowing_) {
                const Spectrum more = sent(dye, surfaces_[s], arriving);
                for (std::size_t b = 0; b < band_count; ++b)
                    for (std::size_t c = 0; c < 3; ++c) response_[s][l * way_count + way][c] += more[b] * sensor.rgb[c][b];
            }
        }
    }
}

bool World::meets_rod(Vec from, Vec d, double& t_out, double& u_out, double& angle_out) const {
    // v^2 + w^2 + 2 w r(u) = 0, with w measured from the top line: a cone whose top line is level.
    const Vec o = from - start_;
    const double ou = dot(o, along_), ov = dot(o, across_), ow = o.z - scene_.rod.rise_mm;
    const double du = dot(d, along_), dv = dot(d, across_), dw = d.z;
    const double a = dv * dv + dw * dw + 2 * dw * slope_ * du;
    const double b = ov * dv + ow * dw + dw * radius(ou) + ow * slope_ * du;
    const double c = ov * ov + ow * ow + 2 * ow * radius(ou);
    if (std::abs(a) < 1e-12) return false;
    const double disc = b * b - a * c;
    if (disc <= 0) return false;
    const double root = std::sqrt(disc);
    for (const double t : {(-b - root) / a, (-b + root) / a}) {
        if (t < 1e-6) continue;
        const double u = ou + t * du;
        const double r = radius(u);
        if (r < 0.2 || u < -400 || u > 520) continue;
        const double v = ov + t * dv, w = ow + t * dw;
        // Where it passes under the card it is pressed down; the card wins.
        if (w + scene_.rod.rise_mm > -1e-9) {
            const Vec p = from + t * d;
            if (card_there(p.x, p.y)) continue;
        }
        t_out = t, u_out = u, angle_out = std::atan2(v, w + r);
        return true;
    }
    return false;
}

bool World::meets_phone(Vec from, Vec d, double far) const {
    const double along = dot(d, forward_);
    if (along > -1e-9) return false;
    const double t = dot(eye_ - from, forward_) / along;
    if (t <= 1e-6 || t >= far) return false;
    const Vec p = from + t * d;
    const Vec m = p - phone_middle_, e = p - eye_;
    if (std::abs(dot(m, right_)) < phone_half_right_ && std::abs(dot(m, down_)) < phone_half_down_)
        return true;
    return dot(e, e) < scene_.camera.mask_mm * scene_.camera.mask_mm;
}

World::Hit World::first_hit(Vec from, Vec d) const {
    Hit hit;
    if (std::abs(d.z) > 1e-12) {
        // What lies on the card is too thin to shade it.
        const bool over_or_under = from.z > 1.0 || from.z < -1e-2;
        for (std::size_t i = 0; over_or_under && i < scene_.covers.size(); ++i) {
            const auto& r = scene_.covers[i].rect_mm;
            const double t = (1.0 - from.z) / d.z;
            if (t < 1e-6 || t > hit.t) continue;
            const Vec p = from + t * d;
            if (p.x > r[0] && p.y > r[1] && p.x < r[0] + r[2] && p.y < r[1] + r[3])
                hit.t = t, hit.what = Hit::cover, hit.cover_index = i;
        }
        const double t = -from.z / d.z;
        if (t > 1e-6 && t < hit.t) {
            const Vec p = from + t * d;
            if (card_there(p.x, p.y)) hit.t = t, hit.what = d.z < 0 ? Hit::card_face : Hit::card_back;
        }
        const double tb = (-scene_.bench_depth_mm - from.z) / d.z;
        if (tb > 1e-6 && tb < hit.t) hit.t = tb, hit.what = Hit::bench;
    }
    double t, u, angle;
    if (meets_rod(from, d, t, u, angle) && t < hit.t)
        hit.t = t, hit.what = Hit::rod, hit.u = u, hit.angle = angle;
    Vec normal;
    if (meets_guide(from, d, hit.t, t, normal)) {
        hit.t = t, hit.what = Hit::guide, hit.normal = normal;
        // Its light is that of the rod's skin which faces the same way.
        const Vec p = from + t * d;
        hit.u = dot(p - start_, along_), hit.angle = std::atan2(dot(normal, across_), normal.z);
    }
    return hit;
}

bool World::blocked(Vec from, Vec to, bool on_rod) const {
    const Vec d = to - from;
    if (from.z < -1e-9 && to.z > 0) {
        const Vec p = from + (-from.z / d.z) * d;
        if (card_there(p.x, p.y)) return true;
    }
    for (const Cover& c : scene_.covers) {
        if (from.z > -1e-2) break;
        const Vec p = from + ((1.0 - from.z) / d.z) * d;
        if (p.x > c.rect_mm[0] && p.y > c.rect_mm[1] && p.x < c.rect_mm[0] + c.rect_mm[2] &&
            p.y < c.rect_mm[1] + c.rect_mm[3])
            return true;
    }
    if (meets_phone(from, d, 1.0)) return true;
    Vec normal;
    if (double at = 0; meets_guide(from, d, 1.0, at, normal)) return true;
    if (!on_rod) {
        double t, u, angle;
        if (meets_rod(from, d, t, u, angle) && t < 1.0) return true;
    }
    return false;
}

// The room's own brightness by direction: a light ceiling, darker walls, somebody bent over the bench.
double World::room(Vec d) const {
    const double sky = 0.45 + 0.75 * std::max(0.0, d.z);
    const double uneven =
        1 + 0.25 * smooth_noise(2.1 * d.x + 10, 2.1 * d.y + 10, static_cast<std::uint32_t>(scene_.seed));
    const double body = d.y > 0.2 && std::abs(d.x) < 0.45 * d.y + 0.1 && d.z < 0.85 ? 0.35 : 1.0;
    return sky * uneven * body;
}

// What falls on a surface, per way. Weighted with the coat's transmission where light must enter a coat
// first.
Amounts World::arriving(Vec at, Vec normal, bool coated, bool on_rod, int samples, int rays) const {
    Amounts sum{};
    const Vec p = at + 1e-4 * normal;
    const double at45 = 1 - fresnel(finish_index, std::sqrt(0.5));
    const auto enters = [&](double cosine) {
        return coated ? (1 - fresnel(finish_index, cosine)) / at45 : 1.0;
    };
    for (std::size_t l = 0; l < scene_.lights.size(); ++l) {
        const Light& light = scene_.lights[l];
        const LampFace face(light);
        double total = 0;
        int used = 0;
        for (int i = 0; i < samples; ++i)
            for (int j = 0; j < samples; ++j) {
                const double a = (i + 0.5) / samples - 0.5, b = (j + 0.5) / samples - 0.5;
                if (!light.window && a * a + b * b > 0.25) continue;
                ++used;
                const Vec q = face.at(light, a, b);
                const Vec d = q - p;
                const double r2 = dot(d, d), r = std::sqrt(r2);
                const double here = dot(d, normal) / r, there = -dot(d, face.axis) / r;
                if (here <= 0 || there <= 0) continue;
                if (blocked(p, q, on_rod)) continue;
                total += here * there / r2 * enters(here);
            }
        const double patch = area(light) / used;
        sum[l * way_count + direct] += static_cast<float>(light_radiance_[l] / pi * total * patch);
    }
    const Vec t1 =
        unit(std::abs(normal.x) < 0.8 ? Vec{1, 0, 0} - normal.x * normal : Vec{0, 1, 0} - normal.y * normal);
    const Vec t2 = cross(normal, t1);
    // Cosine-weighted directions, the same everywhere so that the maps are smooth.
    for (int k = 0; k < rays; ++k) {
        const double s = (k + 0.5) / rays, turn = 2 * pi * std::fmod(0.5 + k * 0.6180339887498949, 1.0);
        const double rad = std::sqrt(s), cosine = std::sqrt(1 - s);
        const Vec d = rad * std::cos(turn) * t1 + rad * std::sin(turn) * t2 + cosine * normal;
        const double weight = enters(cosine) / rays;
        if (meets_phone(p, d, 1e9)) continue;
        const Hit hit = first_hit(p, d);
        switch (hit.what) {
            case Hit::nothing:
                for (std::size_t l = 0; l < scene_.lights.size(); ++l)
                    sum[l * way_count + by_wall] += static_cast<float>(
                        weight * room(d) * scene_.lights[l].room * scene_.lights[l].strength);
                break;
            case Hit::card_face:
                if (!on_card_.texel.empty()) {
                    const Vec q = p + hit.t * d;
                    const Amounts e = on_card_.look_up(q.x, q.y);
                    for (std::size_t l = 0; l < scene_.lights.size(); ++l)
                        sum[l * way_count + by_paper] +=
                            static_cast<float>(weight) * 0.75f *
                            (e[l * way_count + direct] + e[l * way_count + by_wall]);
                }
                break;
            case Hit::card_back:
                add(sum, under_card_, weight);
                break;
            case Hit::bench:
                if (!on_bench_.texel.empty()) {
                    const Vec q = p + hit.t * d;
                    const Amounts e = on_bench_.look_up(q.x, q.y);
                    for (std::size_t l = 0; l < scene_.lights.size(); ++l)
                        sum[l * way_count + by_bench] +=
                            static_cast<float>(weight) *
                            (e[l * way_count + direct] + e[l * way_count + by_wall]);
                }
                break;
            case Hit::cover:
            case Hit::rod:
            case Hit::guide:
                break;
        }
    }
    return sum;
}

void World::make_light() {
    // The lamps' radiance, so that each gives its strength at the card's middle.
    light_radiance_.assign(scene_.lights.size(), 0);
    for (std::size_t l = 0; l < scene_.lights.size(); ++l) {
        const Light& light = scene_.lights[l];
        const Vec to = light.position - Vec{80, 55, 0};
        const double r2 = dot(to, to),
                     area = light.width_mm * light.height_mm * (light.window ? 1.0 : pi / 4);
        light_radiance_[l] = light.strength * pi / (area * to.z / std::sqrt(r2) / r2);
    }
    const auto fill = [&](LightMap& map, auto&& one) {
        in_parallel(map.rows, [&](int j) {
            for (int i = 0; i < map.columns; ++i)
                map.at(i, j) = one(map.x0 + i * map.dx, map.y0 + j * map.dy);
        });
    };
    LightMap bench;
    bench.size(-220, 380, 151, -200, 310, 128);
    fill(bench, [&](double x, double y) {
        return arriving({x, y, -scene_.bench_depth_mm}, {0, 0, 1}, false, false, 6, 48);
    });
    on_bench_ = std::move(bench);
    // The card's back sees the bench in the card's own shade.
    for (int k = 0; k < 16; ++k) {
        const Amounts e = on_bench_.look_up(20 + 8.0 * k, k % 2 ? 30 : 80);
        for (std::size_t l = 0; l < scene_.lights.size(); ++l)
            under_card_[l * way_count + by_bench] +=
                0.8f / 16 * (e[l * way_count + direct] + e[l * way_count + by_wall]);
    }
    LightMap face;
    const double reach_x = std::max(card_.width_mm, card_.beside_mm[0] + card_.beside_mm[2]), reach_y = std::max(card_.height_mm, card_.beside_mm[1] + card_.beside_mm[3]);
    face.size(-2, reach_x + 2, static_cast<int>(std::lround(83 * reach_x / card_.width_mm)), -2, reach_y + 2, static_cast<int>(std::lround(58 * reach_y / card_.height_mm)));
    fill(face, [&](double x, double y) { return arriving({x, y, 0}, {0, 0, 1}, false, false, 10, 96); });
    on_card_ = std::move(face);
    LightMap bare, coated;
    bare.size(-110, 230, 341, -1.8, 1.8, 73);
    coated.size(-110, 230, 341, -1.8, 1.8, 73);
    fill(bare,
         [&](double u, double a) { return arriving(rod_point(u, a), rod_normal(u, a), false, true, 8, 96); });
    fill(coated,
         [&](double u, double a) { return arriving(rod_point(u, a), rod_normal(u, a), true, true, 8, 96); });
    on_rod_bare_ = std::move(bare), on_rod_coated_ = std::move(coated);

    double brightest = 0;
    for (const Amounts& e : on_card_.texel) {
        const Rgb c = colour(e, first_print_);
        brightest = std::max({brightest, c[0], c[1], c[2]});
    }
    for (auto& surface : response_)
        for (auto& channel : surface)
            for (auto& c : channel) c /= brightest;
    const Rgb p = colour(on_card_.look_up(80, 30), first_print_);
    const double top = std::max({p[0], p[1], p[2]});
    paper_ = {p[0] / top, p[1] / top, p[2] / top};
}

Rgb World::colour(const Amounts& light, std::size_t surface) const {
    Rgb c{};
    const auto& r = response_[surface];
    for (std::size_t k = 0; k < channels_; ++k)
        for (std::size_t i = 0; i < 3; ++i) c[i] += static_cast<double>(light[k]) * r[k][i];
    return c;
}

Rgb scaled(const Rgb& c, double k) { return {k * c[0], k * c[1], k * c[2]}; }
Rgb sum(const Rgb& a, const Rgb& b) { return {a[0] + b[0], a[1] + b[1], a[2] + b[2]}; }

// Each lamp's direct light, by the facet that is hit there.
void World::add_flash(Amounts& light, const Hit& hit, Vec d, double flash, bool coated, std::uint32_t noise) const {
    constexpr double along_mm = 0.15, round_mm = 0.25;  // of a facet
    const auto salt = static_cast<std::uint32_t>(scene_.seed);
    const std::uint32_t i = cell(hit.u / along_mm), j = cell(hit.angle * radius(hit.u) / round_mm);
    const Vec p = rod_point(hit.u, hit.angle), normal = rod_normal(hit.u, hit.angle), round = unit(std::cos(hit.angle) * across_ - Vec{0, 0, std::sin(hit.angle)});
    const double size = facet_slope * std::sqrt(-2 * std::log(1 - uniform(i, j, salt + 31))), turn = 2 * pi * uniform(i, j, salt + 32);
    const Vec facet = unit(normal + size * std::cos(turn) * along_ + size * std::sin(turn) * round);
    for (std::size_t l = 0; l < scene_.lights.size(); ++l) {
        const Light& lamp = scene_.lights[l];
        const LampFace face(lamp);
        const auto k = static_cast<std::uint32_t>(l);
        double a = uniform(noise, 41 + k, salt) - 0.5, b = uniform(noise, 51 + k, salt) - 0.5;
        if (!lamp.window) {
            const double reach = 0.5 * std::sqrt(a + 0.5), way = 2 * pi * b;
            a = reach * std::cos(way), b = reach * std::sin(way);
        }
        const Vec to_lamp = unit(face.at(lamp, a, b) - p);
        const double slope = slope_between(halfway(normal, to_lamp, -1.0 * d, coated), facet);
        const double lobe = lobe_squared / (facet_gloss * facet_gloss) * std::exp(-slope * slope / (facet_gloss * facet_gloss));
        light[l * way_count + direct] *= static_cast<float>(film_gain(flash, lobe));
    }
}

// By how much more light than of a matt surface the camera gets of metallic film in the mean over its facets, at the middle of its band, so far turned from facing the camera.
double World::film_gain_seen(const Stretch& s, double turned) const {
    constexpr int across = 5;
    const double u = (s.from + s.to) / 2;
    const Vec eye = eye_ - rod_point(u, 0);
    const double angle = std::atan2(dot(eye, across_), eye.z) + turned;
    const Vec p = rod_point(u, angle), normal = rod_normal(u, angle), to_eye = unit(eye_ - p);
    const Amounts plain = (s.coated ? on_rod_coated_ : on_rod_bare_).look_up(u, angle);
    Amounts light = plain;
    for (std::size_t l = 0; l < scene_.lights.size(); ++l) {
        const Light& lamp = scene_.lights[l];
        const LampFace face(lamp);
        double sum = 0, points = 0;
        for (int i = 0; i < across * across; ++i) {
            const double a = (i % across + 0.5) / across - 0.5, b = (i / across + 0.5) / across - 0.5;
            if (!lamp.window && a * a + b * b > 0.25) continue;
            const Vec to_lamp = unit(face.at(lamp, a, b) - p);
            sum += mean_film_gain(s.band.flash, slope_between(halfway(normal, to_lamp, to_eye, s.coated), normal));
            points += 1;
        }
        light[l * way_count + direct] *= static_cast<float>(sum / points);
    }
    return colour(light, s.body)[1] / colour(plain, s.body)[1];
}

Rgb World::seen_rod(const Hit& hit, Vec d, std::uint32_t noise) const {
    const auto stretch =
        std::find_if(stretches_.begin(), stretches_.end(), [&](const Stretch& s) { return hit.u < s.to; });
    const Stretch& s = stretch == stretches_.end() ? stretches_.back() : *stretch;
    const Vec p = rod_point(hit.u, hit.angle);
    const auto salt = static_cast<std::uint32_t>(scene_.seed);
    const double r = radius(hit.u);
    const Lift foot = lift(hit.u, hit.angle);
    const double lit_angle = hit.angle - std::atan(foot.around);
    const Vec around_rod = unit(std::cos(hit.angle) * across_ - Vec{0, 0, std::sin(hit.angle)});
    const Vec normal = unit(rod_normal(hit.u, hit.angle) - foot.along * along_ - foot.around * around_rod);

    std::size_t surface = s.body;
    double gain = 1, tip = 0;  // tip: of the outer normal, along the rod
    if (s.band.pitch_mm > 0) {
        // The thread climbs one pitch a turn. A ridge is a gain in linear light: bright crown, dark groove,
        // mean 1.
        const double turn = (hit.u - s.from) / s.band.pitch_mm - hit.angle / (2 * pi);
        const double phase = 2 * pi * turn;
        const double depth = s.coated ? 0.10 : 0.24;
        const std::uint32_t index = cell(turn);
        gain *= 1 - depth * std::cos(phase) + 0.02 * (2 * uniform(index, 1, salt) - 1) +
                0.025 * smooth_noise(hit.u / 0.05, hit.angle * r / 0.6, salt + 7);
        if (s.metallic && s.band.flash == 0) gain *= 1 + 0.35 * smooth_noise(hit.u / 0.12, hit.angle * r / 0.12, salt + 9);
        tip = (s.coated ? 0.012 : 0.55) * std::sin(phase);
        // How much of the thread went on before this place.
        const double wound = 2 * pi * r * (std::floor(turn) + hit.angle / (2 * pi)) / s.band.repeat_mm + 0.3 * (turn - std::floor(turn));
        if (s.band.uneven_share > 0) {
            constexpr double edge = 0.15;  // of a patch, in units of the noise: soft
            const double in = 0.5 + 0.5 * (patches(hit.u, hit.angle, r, s.band.patch_mm) - s.patch_level) / edge;
            if (uniform(noise, 23, salt) < in) surface = s.other;
        } else if (s.other != s.body && wound - std::floor(wound) < s.band.other_share) {
            surface = s.other;
        }
        if (foot.on_foot) surface = s.on_foot;
        if (foot.in_tunnel) surface = s.in_tunnel;
        if (uniform(index, 2, salt) < scene_.rod.gaps && turn - std::floor(turn) < 0.2) surface = s.gap;
    } else {
        gain *= 1 + 0.03 * smooth_noise(hit.u / 1.5, hit.angle * r / 0.4, salt + 11);
        if (foot.on_foot) surface = steel;
    }
    const LightMap& map = s.coated ? on_rod_coated_ : on_rod_bare_;
    const double cosine = std::clamp(-dot(d, normal), 0.0, 1.0);
    double leaves = 1;
    if (s.coated) leaves = (1 - fresnel(finish_index, cosine)) / (1 - fresnel(finish_index, 1.0));
    Amounts light = map.look_up(hit.u, lit_angle);
    if (s.band.flash > 0) add_flash(light, hit, d, s.band.flash, s.coated, noise);
    const Rgb body = scaled(colour(light, surface), gain * leaves);

    // The outer surface: slow waves of the film, a rounded shoulder at each end of a coated wrap, on bare
    // thread loose fibres.
    double sway = 0;
    if (s.coated) {
        tip += 0.018 * smooth_noise(hit.u / 7, hit.angle * 1.5 + 20, salt + 3);
        sway += 0.018 * smooth_noise(hit.u / 9, hit.angle * 1.5 + 50, salt + 4);
        if (s.band.pitch_mm > 0) {
            const double in = std::min(hit.u - s.from, s.to - hit.u), shoulder = 0.9;
            if (in < shoulder) {
                const double k = 0.22 * (1 - in / shoulder);
                tip += hit.u - s.from < s.to - hit.u ? -k : k;
            }
        }
    } else {
        tip += 0.5 * (uniform(noise, 21, salt) - 0.5);
        sway += 0.3 * (uniform(noise, 22, salt) - 0.5);
    }
    const Vec outer = unit(normal + tip * along_ + sway * around_rod);
    const double facing = std::clamp(-dot(d, outer), 0.02, 1.0);
    const Vec mirrored = d + 2 * facing * outer;
    if (dot(mirrored, normal) <= 0) return body;
    const double share = fresnel(finish_index, facing) * (s.coated ? 1.0 : s.metallic ? 0.6 : 0.25);
    return sum(body, scaled(seen(p + 1e-4 * normal, mirrored, noise, 1), share));
}

Rgb World::seen(Vec from, Vec d, std::uint32_t noise, int depth) const {
    const auto salt = static_cast<std::uint32_t>(scene_.seed);
    if (depth > 0 && meets_phone(from, d, 1e9)) {
        // Its dark face, lit by what the card sends up.
        Amounts e = on_card_.look_up(80, 30);
        return scaled(colour(e, phone), 0.3);
    }
    const Hit hit = first_hit(from, d);
    const Vec p = from + std::min(hit.t, 1e6) * d;
    switch (hit.what) {
        case Hit::card_face: {
            const double grain = 1 + 0.006 * smooth_noise(p.x / 0.2, p.y / 0.2, salt + 1);
            return scaled(colour(on_card_.look_up(p.x, p.y), first_print_ + card_.print_at(p.x, p.y)), grain);
        }
        case Hit::card_back:
            return colour(under_card_, first_print_);
        case Hit::cover: {
            const double weave = 1 + 0.08 * smooth_noise(p.x / 0.4, p.y / 0.4, salt + 5);
            return scaled(colour(on_card_.look_up(p.x, p.y), cover_first + hit.cover_index), weave);
        }
        case Hit::bench: {
            double dark;
            if (scene_.bench == "wood") {
                const double rings = p.y / 7 + 1.6 * smooth_noise(p.x / 90, p.y / 25, salt + 6);
                dark = std::clamp(0.5 + 0.5 * smooth_noise(p.x / 40, 3 * rings, salt + 8) +
                                      0.25 * smooth_noise(p.x / 6, p.y / 0.5, salt + 12),
                                  0.0, 1.0);
            } else {
                dark = 0.5 + 0.25 * smooth_noise(p.x / 0.7, p.y / 0.7, salt + 6) +
                       0.25 * smooth_noise(p.x / 12, p.y / 12, salt + 8);
            }
            const Amounts e = on_bench_.look_up(p.x, p.y);
            return sum(scaled(colour(e, bench_light), 1 - dark), scaled(colour(e, bench_dark), dark));
        }
        case Hit::rod:
            if (depth == 0) return seen_rod(hit, d, noise);
            return colour(on_rod_coated_.look_up(hit.u, hit.angle), stretches_.front().body);
        case Hit::guide: {
            const Rgb face = colour(on_rod_bare_.look_up(hit.u, hit.angle), steel);
            if (depth > 0) return face;
            const Vec mirrored = d - 2 * dot(d, hit.normal) * hit.normal;
            return sum(face, scaled(seen(p + 1e-4 * hit.normal, mirrored, noise, 1), 0.5));
        }
        case Hit::nothing:
            break;
    }
    Amounts e{};
    for (std::size_t l = 0; l < scene_.lights.size(); ++l) {
        const Light& light = scene_.lights[l];
        const LampFace face(light);
        e[l * way_count + by_wall] = static_cast<float>(room(d) * light.room * light.strength);
        const double closing = dot(d, face.axis);
        if (closing > -1e-9) continue;
        const double t = dot(light.position - from, face.axis) / closing;
        if (t < 0) continue;
        const Vec q = from + t * d - light.position;
        const double a = dot(q, face.side) / light.width_mm, b = dot(q, face.up) / light.height_mm;
        if (std::abs(a) > 0.5 || std::abs(b) > 0.5 || (!light.window && a * a + b * b > 0.25)) continue;
        bool bar = false;
        if (light.window) {
            const auto near_bar = [](double at, int count, double size) {
                if (count <= 0) return false;
                const double in_pane = (at + 0.5) * (count + 1);
                return std::abs(in_pane - std::round(in_pane)) / (count + 1) * size < 22 &&
                       std::round(in_pane) > 0.5 && std::round(in_pane) < count + 0.5;
            };
            bar = near_bar(a, light.bars[0], light.width_mm) || near_bar(b, light.bars[1], light.height_mm);
        }
        if (!bar) e[l * way_count + direct] = static_cast<float>(light_radiance_[l]);
    }
    return colour(e, mirror);
}

nlohmann::json World::truth() const {
    using nlohmann::json;
    const auto rounded = [](double v, double unit_size) { return std::round(v / unit_size) * unit_size; };
    const auto lab = [&](const Spectrum& s) {
        const Lab l = lab_d50(s);
        return json{std::round(1000 * l[0]) / 1000, std::round(1000 * l[1]) / 1000,
                    std::round(1000 * l[2]) / 1000};
    };
    json t;
    t["format"] = "bindhue-truth";
    t["version"] = 1;
    t["scene"] = scene_.title;
    t["kind"] = scene_.output.kind == Kind::phone ? "phone" : "linear";
    json lights = json::array();
    std::string light_text;
    for (const Light& l : scene_.lights) {
        json mix = json::object();
        for (const auto& [name, amount] : l.spectrum) {
            mix[name] = amount;
            light_text += (light_text.empty() ? "" : " + ") + name;
        }
        lights.push_back({{"spectrum", mix}, {"strength", l.strength}});
    }
    t["light"] = light_text;
    t["lights"] = lights;
    t["camera"] = scene_.camera.sensor;
    const auto a = project({79.5, 55, 0}), b = project({80.5, 55, 0});
    t["px_per_mm"] = rounded(std::hypot(a[0] - b[0], a[1] - b[1]), 1e-3);
    const auto corners = [&](double left, double top, double width, double height) {
        json out = json::array();
        for (const auto& [x, y] : {std::pair{left, top}, {left + width, top}, {left + width, top + height}, {left, top + height}}) {
            const auto q = project({x, y, 0});
            out.push_back({std::round(q[0] * 100) / 100, std::round(q[1] * 100) / 100});
        }
        return out;
    };
    t["card_corners_px"] = scene_.card ? corners(0, 0, card_.width_mm, card_.height_mm) : json();
    if (card_.beside_mm[2] > 0) t["beside_corners_px"] = corners(card_.beside_mm[0], card_.beside_mm[1], card_.beside_mm[2], card_.beside_mm[3]);
    t["rod"] = {
        {"diameter_mm_left", scene_.rod.diameter_left_mm},
        {"diameter_mm_right", scene_.rod.diameter_right_mm},
        {"axis_mm",
         {{start_.x, scene_.rod.y_left_mm}, {start_.x + card_.opening_mm[2], scene_.rod.y_right_mm}}}};
    if (!scene_.rod.guides.empty()) {
        json guides = json::array();
        for (const Guide& g : scene_.rod.guides)
            guides.push_back({{"at_mm", g.at_mm}, {"angle_deg", g.angle_deg}, {"feet_mm", g.feet_mm}});
        t["guides"] = guides;
    }
    t["blank"] = scene_.rod.blank;
    t["blank_lab"] = lab(stretches_.front().colour);
    json bands = json::array();
    for (const Stretch& s : stretches_) {
        const double from = std::max(0.0, s.from), to = std::min(card_.opening_mm[2], s.to);
        if (to - from < 1e-6) continue;
        json band{{"start_mm", rounded(from, 1e-6)},
                  {"length_mm", rounded(to - from, 1e-6)},
                  {"role", s.band.role},
                  {"lab", lab(s.colour)}};
        if (s.band.role != "blank") {
            band["spool"] = s.band.spool;
            band["schedule"] = name(s.band.schedule);
            band["ground"] = s.band.ground;
            band["pitch_mm"] = s.band.pitch_mm;
            if (s.band.uneven_share > 0)
                band["uneven"] = {{"lab", lab(s.one_colour)}, {"patches_lab", lab(s.other_colour)}, {"share", s.band.uneven_share}};
            else if (s.other != s.body)
                band["colours"] = {{{"lab", lab(s.one_colour)}, {"share", 1 - s.band.other_share}},
                                   {{"lab", lab(s.other_colour)}, {"share", s.band.other_share}}};
            if (s.band.glow.strength > 0) band["fluorescent"] = {{"without_lab", lab(s.without_glow)}};
            if (s.band.flash > 0) {
                // Of the angles round the rod that a photo shows well.
                double least = 1e9, most = 0;
                for (double turned = -0.5; turned < 0.51; turned += 0.05) {
                    const double gain = film_gain_seen(s, turned);
                    least = std::min(least, gain), most = std::max(most, gain);
                }
                band["metallic"] = {{"flop_lab", lab(least * s.one_colour)}, {"face_lab", lab(most * s.one_colour)}};
            }
            if (scene_.rod.amber > 0 && s.band.schedule != Schedule::none) band["as_new_lab"] = lab(s.as_new);
        }
        bands.push_back(band);
    }
    t["bands"] = bands;
    t["expect"] = scene_.expect;
    if (scene_.expect == "refuse") t["refuse_reason"] = scene_.refuse_reason;
    return t;
}

Traced World::photograph() {
    Traced out;
    Picture& pic = out.picture;
    pic.width = scene_.output.width, pic.height = scene_.output.height;
    pic.rgb.resize(3 * static_cast<std::size_t>(pic.width) * static_cast<std::size_t>(pic.height));
    const double pixels = static_cast<double>(pic.width) * pic.height;
    const int grid = pixels > 6e6 ? 2 : pixels > 2e6 ? 3 : 4;
    const auto salt = static_cast<std::uint32_t>(scene_.seed);
    const double corner2 =
        0.25 * (static_cast<double>(pic.width) * pic.width + static_cast<double>(pic.height) * pic.height);
    in_parallel(pic.height, [&](int y) {
        for (int x = 0; x < pic.width; ++x) {
            Rgb total{};
            for (int j = 0; j < grid; ++j)
                for (int i = 0; i < grid; ++i) {
                    const auto k = static_cast<std::uint32_t>(j * grid + i);
                    const auto px = static_cast<std::uint32_t>(x), py = static_cast<std::uint32_t>(y);
                    const double jx = (i + uniform(px, py, salt + 100 + 2 * k)) / grid;
                    const double jy = (j + uniform(px, py, salt + 101 + 2 * k)) / grid;
                    total = sum(total, seen(eye_, ray(x + jx, y + jy), hash(px, py, k), 0));
                }
            const double dx = x + 0.5 - 0.5 * pic.width, dy = y + 0.5 - 0.5 * pic.height;
            const double fall = 1 - scene_.camera.vignetting * (dx * dx + dy * dy) / corner2;
            float* p = pic.at(x, y);
            for (std::size_t c = 0; c < 3; ++c) p[c] = static_cast<float>(total[c] * fall / (grid * grid));
        }
    });
    out.paper = paper_;
    out.truth = truth();
    return out;
}

}  // namespace

Traced trace(const Scene& scene, const CardPrint& card, const Sensor& sensor) {
    return World(scene, card, sensor).photograph();
}

}  // namespace bindhue::render

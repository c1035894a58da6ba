#include "fibres.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <random>
#include <tuple>

namespace bindhue::render {
namespace {

struct Direction {
    double x, y, z;  // y down into the bundle, z along the fibres
};
double dot(const Direction& a, const Direction& b) { return a.x * b.x + a.y * b.y + a.z * b.z; }

// The standard's distributions differ between libraries; its generator does not.
double unit_of(std::mt19937_64& random) { return static_cast<double>(random() >> 11) * 0x1.0p-53; }

// All lengths in diameters of a fibre.
struct Bundle {
    double index = 1.54;     // of the fibre
    double pigment = 0;      // scattered along one diameter
    double spacing = 1.15;   // between the axes of neighbours
    int rows = 8;
    double coat_index = 1;   // 1: no coat
    double coat_reaches = 0;  // below the uppermost fibres' tops; beyond the last row: soaked through
    };

constexpr int columns = 12;
constexpr double film = 0.5;        // of clear coat over the fibres; any thickness does
constexpr double film_in_fibres = 7;  // how thick it is to its amber, beside what fills the gaps
constexpr double roughness = 0.15;  // of the underside of a seal over air: it follows the fibres
constexpr double straight = 60;     // no fibre runs straight for longer: there its light goes astray
constexpr int most_steps = 20000;
const double cone = std::sin(25.0 * 3.14159265358979 / 180);

}  // namespace

class FibreTracer {
  public:
    FibreTracer(const Bundle& bundle, std::uint64_t seed) : b_(bundle), random_(seed) {
        rise_ = b_.spacing * std::sqrt(3.0) / 2;
        width_ = columns * b_.spacing;
        depth_ = b_.rows * rise_ + 1;
        const double play = std::max(0.0, b_.spacing - 1) / 2;
        for (int row = 0; row < b_.rows; ++row)
            for (int column = 0; column < columns; ++column) {
                const double radius = 0.5 * (1 - 0.1 * unit());
                axes_.push_back({(column + 0.5 * (row % 2)) * b_.spacing + play * (2 * unit() - 1),
                                 0.5 + row * rise_ + play * (2 * unit() - 1) * 0.8, radius});
            }
        cell_rows_ = static_cast<int>(std::ceil((depth_ + 1) / cell));
        cell_columns_ = std::max(4, static_cast<int>(width_ / cell));
        cell_width_ = width_ / cell_columns_;
        cells_.resize(static_cast<std::size_t>(cell_rows_ * cell_columns_));
        for (std::size_t i = 0; i < axes_.size(); ++i)
            for (int r = 0; r < cell_rows_; ++r)
                for (int c = 0; c < cell_columns_; ++c) {
                    const double dy = std::max({0.0, r * cell - 0.5 - axes_[i].y, axes_[i].y - ((r + 1) * cell - 0.5)});
                    double middle = (c + 0.5) * cell_width_ - axes_[i].x;
                    middle -= width_ * std::round(middle / width_);
                    const double dx = std::max(0.0, std::abs(middle) - cell_width_ / 2);
                    if (dx * dx + dy * dy <= axes_[i].radius * axes_[i].radius * 1.0001)
                        cells_[static_cast<std::size_t>(r * cell_columns_ + c)].push_back(static_cast<int>(i));
                }
    }

    TracedLayer trace(int count) {
        TracedLayer out;
        for (int i = 0; i < count; ++i) follow(out);
        out.share_ = 1 / (count * cone * cone);
        return out;
    }

  private:
    static constexpr double cell = 0.75;

    struct Axis {
        double x, y, radius;
    };

    double unit() { return unit_of(random_); }
    double bell() {  // Box and Muller
        return std::sqrt(-2 * std::log(1 - unit())) * std::cos(6.283185307179586 * unit());
    }

    double gap_index(double y) const { return b_.coat_index > 1 && y < b_.coat_reaches ? b_.coat_index : 1.0; }

    // Reflects, or refracts, `d` at a face with the normal `n` against it; true if it went through.
    bool meet(Direction& d, const Direction& n, double from, double to) {
        const double cosine = std::min(1.0, -dot(d, n)), ratio = from / to, sine2 = ratio * ratio * (1 - cosine * cosine);
        double reflectance = 1, inner = 0;
        if (sine2 < 1) {
            inner = std::sqrt(1 - sine2);
            const double s = (from * cosine - to * inner) / (from * cosine + to * inner),
                         p = (to * cosine - from * inner) / (to * cosine + from * inner);
            reflectance = 0.5 * (s * s + p * p);
        }
        if (unit() < reflectance) {
            d = {d.x + 2 * cosine * n.x, d.y + 2 * cosine * n.y, d.z + 2 * cosine * n.z};
            return false;
        }
        const double k = ratio * cosine - inner;
        d = {ratio * d.x + k * n.x, ratio * d.y + k * n.y, ratio * d.z + k * n.z};
        const double size = std::sqrt(dot(d, d));
        d = {d.x / size, d.y / size, d.z / size};
        return true;
    }

    Direction lambertian_up() {
        const double r = std::sqrt(unit()), turn = 6.283185307179586 * unit();
        return {r * std::cos(turn), -std::sqrt(1 - r * r), r * std::sin(turn)};
    }
    Direction anywhere() {
        const double z = 2 * unit() - 1, turn = 6.283185307179586 * unit(), r = std::sqrt(1 - z * z);
        return {r * std::cos(turn), r * std::sin(turn), z};
    }

    // Length along d (a unit vector in three dimensions) to the wall of a fibre from outside; infinite if it is missed.
    double to_fibre(double x, double y, const Direction& d, const Axis& a) const {
        const double a2 = d.x * d.x + d.y * d.y;
        double ox = x - a.x;
        ox -= width_ * std::round(ox / width_);
        const double oy = y - a.y, half = ox * d.x + oy * d.y, c = ox * ox + oy * oy - a.radius * a.radius;
        const double root = half * half - a2 * c;
        if (root <= 0 || a2 < 1e-18) return std::numeric_limits<double>::infinity();
        const double t = (-half - std::sqrt(root)) / a2;
        return t > 1e-7 ? t : std::numeric_limits<double>::infinity();
    }

    // The nearest fibre ahead, within `most`: -1 if there is none.
    int next_fibre(double x, double y, const Direction& d, double most, double& length) const {
        length = most;
        int found = -1;
        const double flat = std::hypot(d.x, d.y);
        if (flat < 1e-9) return -1;
        // From cell to cell; each lists all fibres that reach into it.
        double at = 0;
        const double end = std::min(most, (depth_ + 2) * 40 / flat);
        double px = x, py = y;
        while (at < end && at < length + cell / flat) {
            const int row = static_cast<int>(std::floor((py + 0.5) / cell));
            double wrapped = std::fmod(px, width_);
            if (wrapped < 0) wrapped += width_;
            const int column = std::min(cell_columns_ - 1, static_cast<int>(wrapped / cell_width_));
            if (row >= 0 && row < cell_rows_) {
                for (const int i : cells_[static_cast<std::size_t>(row * cell_columns_ + column)]) {
                    const double t = to_fibre(x, y, d, axes_[static_cast<std::size_t>(i)]);
                    if (t < length) length = t, found = i;
                }
            }
            // To the next border of a cell.
            const double bx = d.x > 0 ? (column + 1) * cell_width_ - wrapped : wrapped - column * cell_width_;
            const double top = row * cell - 0.5, by = d.y > 0 ? top + cell - py : py - top;
            const double tx = std::abs(d.x) > 1e-12 ? bx / std::abs(d.x) : 1e9, ty = std::abs(d.y) > 1e-12 ? by / std::abs(d.y) : 1e9;
            const double step = std::max(std::min(tx, ty), 0.0) + 1e-7;
            at += step;
            px += step * d.x;
            py += step * d.y;
            if ((d.y < 0 && py < -1) || (d.y > 0 && py > depth_ + 1)) break;
        }
        return found;
    }

    // Through the seal's underside, or back from it. A tilted facet may send light on to the wrong side: it meets the next one there.
    void cross_seal(Direction& d) {
        const bool down = d.y > 0;
        Direction normal{roughness * bell(), down ? -1.0 : 1.0, roughness * bell()};
        const double size = std::sqrt(dot(normal, normal));
        normal = {normal.x / size, normal.y / size, normal.z / size};
        if (dot(d, normal) > -0.02) normal = {0, down ? -1.0 : 1.0, 0};
        const bool through = meet(d, normal, down ? b_.coat_index : 1, down ? 1 : b_.coat_index);
        if (through == (down != (d.y > 0))) d.y = -d.y;
    }

    // Off the ground: a body under a clear smooth surface, which a coat that reaches it puts out of work. False if the ray is lost.
    bool leave_ground(Direction& d, double above, double& hits) {
        if (above > 1) {
            ++hits;
            d = lambertian_up();
            return true;
        }
        if (!meet(d, {0, -1, 0}, 1, finish_index)) return true;
        do {
            ++hits;
            if (hits > 60) return false;
            d = lambertian_up();
        } while (!meet(d, {0, 1, 0}, finish_index, 1));
        return true;
    }

    void follow(TracedLayer& out) {
        const double sine = std::sqrt(0.5), turn = 6.283185307179586 * unit();
        Direction d{sine * std::cos(turn), sine, sine * std::sin(turn)};
        double x = width_ * unit(), y = -film + 1e-9, in_fibre = 0, hits = 0, in_coat = 0;
        if (b_.coat_index > 1 && !meet(d, {0, -1, 0}, 1, b_.coat_index)) return;  // mirrored: specular excluded
        int inside = -1;
        for (int step = 0; step < most_steps; ++step) {
            if (inside >= 0) {
                const Axis& a = axes_[static_cast<std::size_t>(inside)];
                double ox = x - a.x;
                ox -= width_ * std::round(ox / width_);
                const double oy = y - a.y, a2 = std::max(1e-12, d.x * d.x + d.y * d.y), half = ox * d.x + oy * d.y;
                const double root = std::sqrt(std::max(0.0, half * half - a2 * (ox * ox + oy * oy - a.radius * a.radius)));
                const double wall = std::max(0.0, (-half + root) / a2);
                const double until = b_.pigment > 0 ? -std::log(1 - unit()) / b_.pigment : 1e30;
                const double way = std::min({wall, until, straight});
                x += way * d.x;
                y += way * d.y;
                in_fibre += way;
                if (way < wall) {
                    d = anywhere();
                    continue;
                }
                const Direction normal{-(ox + way * d.x) / a.radius, -(oy + way * d.y) / a.radius, 0};
                if (meet(d, normal, b_.index, gap_index(y))) inside = -1;
                continue;
            }
            // Planes ahead: the film's face, the seal, the ground.
            double plane = std::numeric_limits<double>::infinity();
            enum { none, face, seal, ground } what = none;
            const auto consider = [&](double level, decltype(what) which) {
                const double t = (level - y) / d.y;
                if (std::abs(d.y) > 1e-12 && t > 1e-9 && t < plane) plane = t, what = which;
            };
            if (d.y < 0) consider(-film, face);
            if (d.y > 0) consider(depth_, ground);
            if (b_.coat_index > 1 && b_.coat_reaches < depth_) consider(b_.coat_reaches, seal);
            if (what == none) return;
            double length = 0;
            const int fibre = next_fibre(x, y, d, plane, length);
            if (b_.coat_index > 1) {
                // Of the way, what lies above the fibres is in the film.
                const double end = y + length * d.y, low = std::min(y, end), high = std::max(y, end);
                const double above = high <= 0 ? 1 : low >= 0 ? 0 : -low / (high - low);
                in_coat += length * (above / film + (b_.rows > 0 && gap_index(std::max(low, 0.0)) > 1 ? (1 - above) / film_in_fibres : 0));
            }
            x += length * d.x;
            y += length * d.y;
            if (fibre >= 0) {
                const Axis& a = axes_[static_cast<std::size_t>(fibre)];
                double ox = x - a.x;
                ox -= width_ * std::round(ox / width_);
                if (meet(d, {ox / a.radius, (y - a.y) / a.radius, 0}, gap_index(y), b_.index)) inside = fibre;
                continue;
            }
            if (what == face) {
                y = -film;
                if (b_.coat_index > 1 && !meet(d, {0, 1, 0}, b_.coat_index, 1)) {
                    y += 1e-9;
                    continue;
                }
                if (d.x * d.x + d.z * d.z < cone * cone)
                    out.rays_.push_back({static_cast<float>(in_fibre), static_cast<float>(hits), static_cast<float>(in_coat)});
                return;
            }
            if (what == seal) {
                cross_seal(d);
                y = b_.coat_reaches + (d.y > 0 ? 1e-6 : -1e-6);
                continue;
            }
            y = depth_ - 1e-6;
            if (!leave_ground(d, gap_index(y), hits)) return;
        }
    }

    Bundle b_;
    std::mt19937_64 random_;
    double rise_ = 0, width_ = 0, depth_ = 0, cell_width_ = 0;
    int cell_rows_ = 0, cell_columns_ = 0;
    std::vector<Axis> axes_;
    std::vector<std::vector<int>> cells_;
};

double TracedLayer::seen(double absorption, double base, double amber) const {
    double sum = 0;
    for (const Ray& r : rays_)
        sum += std::exp(-absorption * static_cast<double>(r.in_fibre) - amber * static_cast<double>(r.in_coat)) *
               std::pow(base, static_cast<double>(r.base_hits));
    return share_ * sum;
}

namespace {

constexpr int rays = 25000, deep_rays = 12000;
constexpr int dry_points = 70;
constexpr double least_absorption = 1e-4, dry_step = 0.2;  // of the logarithm

struct Fibre {
    double filament_mm, index, pigment, spacing, soaks;
    double sealed_to = 0.09;  // the tops of the uppermost fibres are held by a seal, no more
};
// Indices as the trade's handbooks give them for drawn fibre (from memory: Morton, Hearle, "Physical Properties of Textile Fibres");
// pigment, packing and soaking are invented.
Fibre usual(Material material) {
    switch (material) {
        case Material::ncp_nylon:
            return {0.020, 1.54, 0.30, 1.12, 0.40};
        case Material::polyester:
            return {0.021, 1.63, 0.05, 1.14, 0.60};
        case Material::silk:
            return {0.013, 1.57, 0.006, 1.10, 0.97};
        case Material::nylon:
        case Material::metallic:
            break;
    }
    return {0.020, 1.54, 0.020, 1.14, 0.93};
}

Fibre lot_of(Material material, std::uint64_t lot) {
    Fibre f = usual(material);
    std::mt19937_64 random(1000 * lot + static_cast<std::uint64_t>(material));
    const auto varied = [&] { return 2 * unit_of(random) - 1; };
    f.pigment *= std::exp(0.4 * varied());
    f.spacing += 0.03 * varied();
    f.soaks = std::clamp(f.soaks + 0.05 * varied(), 0.0, 1.0);
    f.sealed_to += 0.06 * varied();
    return f;
}

std::shared_ptr<const TracedLayer> layer(const Bundle& b, std::uint64_t seed, int count = rays) {
    return std::make_shared<const TracedLayer>(FibreTracer(b, seed).trace(count));
}

}  // namespace

FibreThread::FibreThread(const Spool& spool, std::uint64_t lot) {
    using Key = std::tuple<Material, int, std::uint64_t>;
    static std::map<Key, FibreThread> made;
    const Key key{spool.material, static_cast<int>(std::lround(1000 * spool.size_mm)), lot};
    if (const auto found = made.find(key); found != made.end()) {
        *this = found->second;
        return;
    }
    const Fibre f = lot_of(spool.material, lot);
    Bundle b{.index = f.index, .pigment = f.pigment, .spacing = f.spacing};
    b.rows = std::max(2, static_cast<int>(std::lround(0.85 * spool.size_mm / f.filament_mm / (b.spacing * 0.866))));
    const std::uint64_t seed = 7919 * lot + static_cast<std::uint64_t>(std::get<1>(key)) + 13 * static_cast<std::uint64_t>(spool.material);
    bare_ = layer(b, seed + 1);
    static std::map<std::pair<Material, std::uint64_t>, std::vector<double>> piles;
    std::vector<double>& pile = piles[{spool.material, lot}];
    if (pile.empty()) {
        Bundle deep = b;
        deep.rows = 100;
        const std::shared_ptr<const TracedLayer> traced = layer(deep, 7919 * lot + static_cast<std::uint64_t>(spool.material), deep_rays);
        for (int k = 0; k < dry_points; ++k) pile.push_back(traced->seen(least_absorption * std::exp(dry_step * k), 0.8));
    }
    dry_ = pile;
    b.coat_index = 1.53;
    b.coat_reaches = 1e9;
    soaked_ = layer(b, seed + 3);
    b.coat_reaches = f.sealed_to;
    sealed_ = layer(b, seed + 4);
    soaks_ = f.soaks;
    made.emplace(key, *this);
}

Spectrum FibreThread::dry_opaque(const Spectrum& absorption) const {
    Spectrum out;
    for (std::size_t i = 0; i < band_count; ++i) {
        const double at = std::clamp(std::log(std::max(absorption[i], least_absorption) / least_absorption) / dry_step, 0.0, dry_points - 1.001);
        const auto k = static_cast<std::size_t>(at);
        const double share = at - static_cast<double>(k);
        out[i] = (1 - share) * dry_[k] + share * dry_[k + 1];
    }
    return out;
}

Spectrum FibreThread::wrapped(const Spectrum& absorption, Schedule schedule, const Spectrum& ground, const Spectrum& amber) const {
    const double soaks = schedule == Schedule::finish ? soaks_ : 0;
    Spectrum out;
    for (std::size_t i = 0; i < band_count; ++i) {
        const double base = beneath_surface(ground[i]);
        if (schedule == Schedule::none) {
            out[i] = bare_->seen(absorption[i], base);
            continue;
        }
        out[i] = (soaks > 0 ? soaks * soaked_->seen(absorption[i], base, amber[i]) : 0) + (1 - soaks) * sealed_->seen(absorption[i], base, amber[i]);
    }
    return out;
}

Spectrum coated_mark(const Spectrum& bare, const Spectrum& amber) {
    static const TracedLayer film_alone = FibreTracer({.rows = 0, .coat_index = 1.53, .coat_reaches = 1e9}, 5).trace(rays);
    Spectrum out;
    for (std::size_t i = 0; i < band_count; ++i) out[i] = film_alone.seen(0, bare[i], amber[i]);
    return out;
}

}  // namespace bindhue::render

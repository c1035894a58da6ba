#include "thread.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <stdexcept>

namespace bindhue::render {
namespace {

// How much goes back and through, for light from above ("down") and from below ("up").
struct Plate {
    double back_down, back_up, through_down, through_up;
};

// Stokes' sum over the reflections between two plates.
Plate stacked(const Plate& above, const Plate& below) {
    const double m = 1.0 / (1.0 - above.back_up * below.back_down);
    return {above.back_down + above.through_down * below.back_down * above.through_up * m,
            below.back_up + below.through_up * above.back_up * below.through_down * m,
            above.through_down * below.through_down * m, below.through_up * above.through_up * m};
}

Plate pile(const Plate& row, int rows) {
    Plate all{0, 0, 1, 1}, power = row;
    for (; rows > 0; rows >>= 1) {
        if (rows & 1) all = stacked(all, power);
        power = stacked(power, power);
    }
    return all;
}

double over(const Plate& p, double ground) {
    return p.back_down + p.through_down * ground * p.through_up / (1.0 - p.back_up * ground);
}

// A number that belongs to a text, the same on every machine (FNV-1a).
std::uint64_t number_of(const std::string& text) {
    std::uint64_t h = 1469598103934665603ull;
    for (const char c : text) h = (h ^ static_cast<unsigned char>(c)) * 1099511628211ull;
    h ^= h >> 33;
    h *= 0xff51afd7ed558ccdull;
    return h ^ (h >> 29);
}

// Invented, and chosen so that the trade's outcomes follow: see samples/README.md.
struct Fibre {
    double filament_mm;
    double face_air;       // what one curved face of a fibre sends back, in air, for light from outside
    double face_air_back;  // and for light from inside: more where pigment has made it diffuse
    double face_wet;       // both, wetted by the coat
    double pigment;        // back-scattered by pigment in one pass of a row
    double contact_finish, contact_preserver;  // share of the fibre in optical contact with the coat
};

Fibre usual_fibre(Material material) {
    switch (material) {
        case Material::nylon:
            return {0.020, 0.035, 0.34, 0.012, 0.040, 0.92, 0.10};
        case Material::ncp_nylon:
            return {0.020, 0.032, 0.46, 0.020, 0.300, 0.45, 0.06};
        case Material::polyester:
            return {0.021, 0.038, 0.40, 0.040, 0.160, 0.60, 0.06};
        case Material::silk:
            return {0.013, 0.030, 0.32, 0.005, 0.010, 0.97, 0.15};
        case Material::metallic:
            return {0.020, 0.10, 0.10, 0.10, 0.0, 1.0, 1.0};
    }
    return {};
}

// No two lots are delustred or soak alike.
Fibre fibre_of(const Spool& spool) {
    Fibre f = usual_fibre(spool.material);
    const std::uint64_t h = number_of(spool.code + " fibre");
    const auto varied = [&](int shift) { return static_cast<double>(h >> shift & 0xff) / 127.5 - 1.0; };
    f.pigment *= 1.0 + 0.15 * varied(0);
    f.face_air_back *= 1.0 + 0.04 * varied(8);
    f.contact_finish += 0.04 * varied(16);
    f.contact_preserver *= 1.0 + 0.3 * varied(24);
    f.contact_finish = std::min(f.contact_finish, 1.0);
    return f;
}

double diffuse_return_inside() {
    return 0.596;
}  // n = 1.5, Fresnel integrated: the textbook Saunderson value
double in_and_out() {
    const double index2 = finish_index * finish_index;
    return (1.0 - fresnel(finish_index, std::sqrt(0.5))) * (1.0 - fresnel(finish_index, 1.0)) / index2;
}

// The same where a film beneath the surface absorbs, so much in one pass straight through.
double diffuse_return_inside(double film) {
    constexpr int steps = 200;
    double out = 0;
    for (int i = 0; i < steps; ++i) {
        const double cosine = (i + 0.5) / steps, sine2 = finish_index * finish_index * (1.0 - cosine * cosine);
        const double mirrored = sine2 >= 1.0 ? 1.0 : fresnel(finish_index, std::sqrt(1.0 - sine2));
        out += mirrored * std::exp(-2.0 * film / cosine) * 2.0 * cosine / steps;
    }
    return out;
}

// A smooth surface in optical contact, over a film that may absorb: lit from 45 degrees, seen facing.
double under_surface(double inside, double film) {
    const double slant = std::sqrt(1.0 - 0.5 / (finish_index * finish_index));
    const double back = film > 0 ? diffuse_return_inside(film) : diffuse_return_inside();
    return in_and_out() * std::exp(-film / slant - film) * inside / (1.0 - back * inside);
}

// A smooth clear skin with air beneath it: both its faces reflect, but nothing is trapped by total
// reflection.
double under_skin(double dry) {
    const auto slab = [](double face) { return 2.0 * face / (1.0 + face); };
    const double slantwise = 1.0 - slab(fresnel(finish_index, std::sqrt(0.5)));
    const double facing = 1.0 - slab(fresnel(finish_index, 1.0));
    return slantwise * facing * dry / (1.0 - slab(0.092) * dry);
}

Plate row_of_fibres(const Fibre& f, double absorption, bool wet) {
    const double outside = wet ? f.face_wet : f.face_air, inside = wet ? f.face_wet : f.face_air_back;
    const Plate upper{outside, inside, 1.0 - outside, 1.0 - inside};
    const Plate lower{inside, outside, 1.0 - inside, 1.0 - outside};
    const double pass = std::exp(-absorption);
    const Plate core{f.pigment * pass, f.pigment * pass, (1.0 - f.pigment) * pass, (1.0 - f.pigment) * pass};
    return stacked(upper, stacked(core, lower));
}

int rows_in(const Fibre& f, double size_mm) {
    return std::max(2, static_cast<int>(std::lround(0.9 * size_mm / f.filament_mm)));
}

constexpr double foil = 0.62;  // a metallised film scatters this much to the side, seen facing

const std::vector<Spectrum>& dyes() {
    static const std::vector<Spectrum> table{
        // yellows and oranges
        bump(412, 44, 1.0) + bump(380, 39, 0.5),
        bump(432, 52, 1.0) + bump(385, 36, 0.35),
        bump(398, 62, 1.0) + bump(445, 29, 0.28),
        bump(448, 60, 1.0) + bump(390, 52, 0.25),
        // oranges and reds
        bump(486, 57, 1.0) + bump(400, 52, 0.30),
        bump(505, 52, 1.0) + bump(535, 29, 0.40) + bump(395, 58, 0.22),
        bump(520, 60, 1.0) + bump(410, 65, 0.16),
        bump(538, 44, 1.0) + bump(500, 39, 0.55) + bump(385, 52, 0.25),
        // violets and blues
        bump(570, 57, 1.0) + bump(535, 44, 0.45) + bump(400, 39, 0.12),
        bump(592, 60, 1.0) + bump(640, 34, 0.35) + bump(390, 42, 0.15),
        bump(620, 68, 1.0) + bump(580, 36, 0.35) + bump(405, 36, 0.14),
        bump(652, 57, 1.0) + bump(606, 42, 0.60) + bump(385, 44, 0.30),
        bump(672, 60, 1.0) + bump(615, 49, 0.40) + bump(420, 34, 0.22),
    };
    return table;
}

Spectrum undyed(Material material) {
    // Fibre itself: a little yellow.
    const double amount = material == Material::silk ? 0.007 : 0.003;
    return constant(0.0012) + bump(380, 55, amount);
}

struct Dyeing {
    Spectrum absorption;
    double miss;  // Lab distance from the colour asked for
};

// Damped Gauss-Newton on the square roots of the three concentrations, from `start`.
Dyeing dye_to(const Spool& spool, const DryLook& dry, const Spectrum& base, const std::array<Spectrum, 3>& dyes_used,
              double start) {
    const auto mixed = [&](const std::array<double, 3>& root) {
        Spectrum a = base;
        for (std::size_t k = 0; k < 3; ++k) a = a + root[k] * root[k] * dyes_used[k];
        return a;
    };
    const auto miss = [&](const std::array<double, 3>& root) {
        const Lab lab = lab_d50(dry(mixed(root)));
        return Lab{lab[0] - spool.aim[0], lab[1] - spool.aim[1], lab[2] - spool.aim[2]};
    };
    std::array<double, 3> root{start, start, start};
    Lab now = miss(root);
    double cost = now[0] * now[0] + now[1] * now[1] + now[2] * now[2], damping = 1.0;
    for (int turn = 0; turn < 40 && cost > 1e-4; ++turn) {
        std::array<std::array<double, 3>, 3> slope{};
        for (std::size_t k = 0; k < 3; ++k) {
            auto moved = root;
            moved[k] += 1e-4;
            const Lab there = miss(moved);
            for (std::size_t r = 0; r < 3; ++r) slope[r][k] = (there[r] - now[r]) / 1e-4;
        }
        std::array<std::array<double, 4>, 3> system{};
        for (std::size_t i = 0; i < 3; ++i) {
            for (std::size_t j = 0; j < 3; ++j)
                for (std::size_t r = 0; r < 3; ++r) system[i][j] += slope[r][i] * slope[r][j];
            for (std::size_t r = 0; r < 3; ++r) system[i][3] -= slope[r][i] * now[r];
            system[i][i] += damping * (1.0 + system[i][i]);
        }
        for (std::size_t i = 0; i < 3; ++i)
            for (std::size_t r = 0; r < 3; ++r) {
                if (r == i) continue;
                const double k = system[r][i] / system[i][i];
                for (std::size_t j = i; j < 4; ++j) system[r][j] -= k * system[i][j];
            }
        auto next = root;
        for (std::size_t i = 0; i < 3; ++i)
            next[i] = std::clamp(root[i] + system[i][3] / system[i][i], 0.01, 2.6);
        const Lab then = miss(next);
        const double new_cost = then[0] * then[0] + then[1] * then[1] + then[2] * then[2];
        if (new_cost < cost) {
            root = next, now = then, cost = new_cost, damping *= 0.4;
        } else {
            damping *= 4.0;
        }
    }
    return {mixed(root), std::sqrt(cost)};
}

// What must be absorbed for the dry thread to look as measured, as far as the fibre can: the more is absorbed, the darker.
Spectrum dyed_as_measured(const Spectrum& measured, const DryLook& dry) {
    Spectrum low = constant(0), high = constant(12);
    for (int halving = 0; halving < 40; ++halving) {
        const Spectrum middle = 0.5 * (low + high), look = dry(middle);
        for (std::size_t i = 0; i < band_count; ++i) (look[i] > measured[i] ? low : high)[i] = middle[i];
    }
    return low;
}

}  // namespace

const char* name(Material material) {
    switch (material) {
        case Material::nylon:
            return "nylon";
        case Material::ncp_nylon:
            return "ncp-nylon";
        case Material::polyester:
            return "polyester";
        case Material::silk:
            return "silk";
        case Material::metallic:
            return "metallic";
    }
    return "";
}

const char* name(Schedule schedule) {
    switch (schedule) {
        case Schedule::none:
            return "none";
        case Schedule::finish:
            return "finish";
        case Schedule::preserver_finish:
            return "preserver+finish";
    }
    return "";
}

Schedule schedule_named(const std::string& text) {
    for (const Schedule s : {Schedule::none, Schedule::finish, Schedule::preserver_finish})
        if (text == name(s)) return s;
    throw std::runtime_error("no schedule called \"" + text + "\": use none, finish or preserver+finish");
}

double fresnel(double index, double cosine) {
    const double sine2 = 1.0 - cosine * cosine;
    const double inner = std::sqrt(index * index - sine2);
    const double s = (cosine - inner) / (cosine + inner);
    const double p = (index * index * cosine - inner) / (index * index * cosine + inner);
    return 0.5 * (s * s + p * p);
}

double beneath_surface(double outside) {
    return outside / (in_and_out() + diffuse_return_inside() * outside);
}

Spectrum dry_opaque(const Spool& spool, const Spectrum& absorption) {
    const Fibre f = fibre_of(spool);
    Spectrum s;
    for (std::size_t i = 0; i < band_count; ++i)
        s[i] = spool.material == Material::metallic
                   ? foil * std::exp(-2.0 * absorption[i])
                   : over(pile(row_of_fibres(f, absorption[i], false), 128), 0.5);
    return s;
}

Spectrum sent(const Fluorescence& dye, const Spectrum& reflectance, const Spectrum& light) {
    const Spectrum taken = bump(dye.excited_nm, 35, 1);
    double in = 0, all = 0;
    for (std::size_t b = 0; b < band_count; ++b) {
        in += light[b] * (1 - std::min(1.0, reflectance[b])) * taken[b];
        all += taken[b];
    }
    // Emission falls off slowly towards red.
    return dye.strength * in / all * (reflectance * (bump(dye.sent_nm, 28, 0.85) + bump(dye.sent_nm + 35, 40, 0.25)));
}

Spectrum wrapped(const Spool& spool, const Spectrum& absorption, Schedule schedule, const Spectrum& ground,
                 const Spectrum& amber) {
    const Fibre f = fibre_of(spool);
    const int rows = rows_in(f, spool.size_mm);
    const double contact = schedule == Schedule::none     ? 0.0
                           : schedule == Schedule::finish ? f.contact_finish
                                                          : f.contact_preserver;
    Spectrum s;
    for (std::size_t i = 0; i < band_count; ++i) {
        if (spool.material == Material::metallic) {
            s[i] = foil * std::exp(-2.0 * absorption[i]);
            if (schedule != Schedule::none) s[i] *= 0.97 * std::exp(-2.0 * amber[i]);
            continue;
        }
        // Bare ground in air also sends back what its clear coat mirrors.
        const double dry =
            over(pile(row_of_fibres(f, absorption[i], false), rows), std::min(1.0, ground[i] + 0.06));
        if (schedule == Schedule::none) {
            s[i] = dry;
            continue;
        }
        const double wet =
            over(pile(row_of_fibres(f, absorption[i], true), rows), beneath_surface(ground[i]));
        s[i] = contact * under_surface(wet, amber[i]) + (1.0 - contact) * under_skin(dry) * std::exp(-2.0 * amber[i]);
    }
    return s;
}

Spectrum ground_named(const std::string& name) {
    if (name == "graphite") return constant(0.018) + step(600, 120, 0.0, 0.003);
    if (name == "grey") return constant(0.075) + bump(470, 90, 0.008);
    if (name == "cane") return step(560, 150, 0.085, 0.46) + bump(660, 60, 0.02);
    if (name == "olive") return constant(0.03) + bump(565, 55, 0.055) + step(620, 80, 0.0, 0.015);
    if (name == "maroon") return constant(0.016) + step(615, 45, 0.0, 0.115);
    if (name == "navy") return constant(0.016) + bump(455, 40, 0.06);
    if (name == "black") return constant(0.03);
    if (name == "cream") return step(470, 90, 0.42, 0.72);
    if (name == "white") return step(412, 18, 0.42, 0.83);
    throw std::runtime_error("no ground called \"" + name +
                             "\": use graphite, grey, cane, olive, maroon, navy, black, cream or white");
}

Spectrum dyed(const Spool& spool) {
    return dyed(spool, [&](const Spectrum& absorption) { return dry_opaque(spool, absorption); });
}

Spectrum dyed(const Spool& spool, const DryLook& dry) {
    if (spool.dry) return dyed_as_measured(*spool.dry, dry);
    const auto& dye = dyes();
    const Spectrum base = undyed(spool.material);
    const std::uint64_t h = number_of(spool.code);
    Spectrum best{};
    double least = 1e9;
    // A yellow, a red and a blue: which ones is the dyer's affair, so that spools of like colour are
    // metamers. Some sets cannot reach some colours; then another set is taken.
    for (std::uint64_t attempt = 0; attempt < 80; ++attempt) {
        const std::uint64_t set = (h + 7 * attempt) % 80;
        const std::array<Spectrum, 3> chosen{dye[set % 4], dye[4 + set / 4 % 4], dye[8 + set / 16 % 5]};
        for (const double dark : {0.35, 1.0}) {
            const auto [absorption, miss] = dye_to(spool, dry, base, chosen, dark);
            if (miss < least) least = miss, best = absorption;
        }
        if (least < 0.5) break;
    }
    return best;
}

}  // namespace bindhue::render
